mod kit;
#[test]
fn dump() {
    let design = kit::frost_mast();
    let k = wire::generate::Kit::of(&design);
    std::fs::create_dir_all("/tmp/kitdump").unwrap();
    for f in k.files().into_iter().chain([k.secrets()]) { std::fs::write(format!("/tmp/kitdump/{}", f.name), f.text).unwrap(); }
    let m = kit::with_messages("[message.x]\nport=1\ndirection=\"down\"\n[message.x.field]\nrain = { kind = \"counter\", unit = \"mm\", bits = 15, step = 0.2 }\n");
    for f in kit::kit_of(&m).files() { std::fs::write(format!("/tmp/kitdump/{}", f.name), f.text).unwrap(); }
}
