//! The websocket of gateways: frames that were taken apart are the same bytes again, and answers name their window.

mod apart;
#[expect(dead_code, reason = "other tests need the rest")]
mod valley;

use std::collections::BTreeSet;

use apart::apart;
use design::quantity::Frequency;
use design::region::Region;
use design::serve::Answers;
use logbook::intake::websocket::{self, ConfigError, Said, StationError, router_config};
use logbook::network::{Network, Plan, Verdict, Window};
use logbook::received::StationClock;
use serde_json::{Value, json};
use valley::{Device, SECOND, START, gateway, sent, setup};
use wire::frame::FrameControl;
use wire::identity::JoinEui;
use wire::mac::UplinkCommand;

/// Beyond what a double holds.
const XTIME: i64 = 0x0123_4567_89ab_cdef;

fn eu868() -> Region {
    Region::builtin("EU868").expect("built in")
}

fn read(text: &str) -> Result<Said, StationError> {
    websocket::read(text, gateway(1), &eu868(), START)
}

#[test]
fn frames_are_put_together_byte_for_byte_and_answered_in_one_window() {
    let mut device = Device::new(1);
    let mut network =
        Network::new(setup("EU868", Answers::All), [device.member(Plan::default())], valley::addresses());
    let mut exchange = |frame: &[u8], verdict: Verdict, wait: i64| {
        let text = apart(frame, 5, XTIME).to_string();
        let Ok(Said::Heard(received)) = read(&text) else { panic!("{text}") };
        assert_eq!(received.bytes, frame);
        assert_eq!(received.radio.data_rate, "SF7BW125");
        assert_eq!(received.radio.station, Some(StationClock { xtime: XTIME, rctx: 3 }));
        assert_eq!((received.radio.clock_us, received.radio.gps_us), (Some(0x89ab_cdef), None));
        let heard = network.hear(&received);
        assert_eq!(heard.verdict, verdict);
        network.kept(heard.frame);
        let effects = network.tick(START + wait);
        let downlink = sent(&effects)[0].clone();
        (websocket::answer(&downlink).expect("it came by a websocket"), downlink)
    };
    let (text, accept) = exchange(&device.request(), Verdict::Join, SECOND);
    let message: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(message["DevEui"], "02-00-00-00-00-00-01-01");
    assert_eq!(
        (&message["RxDelay"], &message["RX1DR"], &message["RX1Freq"]),
        (&json!(5), &json!(5), &json!(868_300_000))
    );
    assert_eq!((&message["xtime"], &message["rctx"], &message["dC"]), (&json!(XTIME), &json!(3), &json!(0)));
    assert_eq!(message["diid"], accept.number);
    assert!(message.get("RX2DR").is_none(), "{text}");
    assert!(device.joins(&accept.bytes));

    // Without port, with options: asks for the link and waits for an acknowledgement; too late for the first window.
    let uplink = device.sends(true, FrameControl::default(), &[UplinkCommand::LinkCheckReq]);
    let (text, answer) = exchange(&uplink, Verdict::New, SECOND + 500_000);
    let message: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(answer.window, Window::Second);
    assert_eq!(
        (&message["RxDelay"], &message["RX2DR"], &message["RX2Freq"]),
        (&json!(1), &json!(0), &json!(869_525_000))
    );
    assert!(message.get("RX1DR").is_none(), "{text}");
    assert!(device.hears(&answer.bytes).expect("for it").acknowledges);
}

#[test]
fn what_gateways_say_besides_is_read() {
    let version = r#"{"msgtype":"version","station":"2.0.6","firmware":null,"package":null,"model":"corecell","protocol":2}"#;
    assert!(matches!(read(version), Ok(Said::Version { station, .. }) if station == "2.0.6"));
    assert_eq!(read(r#"{"msgtype":"dntxed","diid":41,"rctx":0,"xtime":1}"#), Ok(Said::Sent(41)));
    assert_eq!(read(r#"{"msgtype":"timesync","txtime":12.5}"#), Ok(Said::TimeWanted { txtime: 12.5 }));
    assert_eq!(read(r#"{"msgtype":"event","x":1}"#), Ok(Said::Other("event".to_owned())));
    let time: Value = serde_json::from_str(&websocket::time(12.5, 1_400_000_000_000_000)).expect("JSON");
    assert_eq!(time, json!({ "msgtype": "timesync", "txtime": 12.5, "gpstime": 1_400_000_000_000_000_i64 }));
}

#[test]
fn frames_that_can_not_be_are_refused() {
    let mut device = Device::new(1);
    let request = apart(&device.request(), 5, XTIME);
    let changed = |key: &str, value: Value| {
        let mut changed = request.clone();
        changed[key] = value;
        read(&changed.to_string())
    };
    assert!(changed("MIC", json!(i64::from(u32::MAX))).is_ok(), "without a sign it is the same four octets");
    assert_eq!(changed("MIC", json!(1_i64 << 32)), Err(StationError::Field { field: "MIC" }));
    assert_eq!(changed("DevEui", json!("02")), Err(StationError::Field { field: "DevEui" }));
    assert_eq!(changed("DR", json!(15)), Err(StationError::DataRate { found: 15 }));
    assert_eq!(changed("DR", json!(-1)), Err(StationError::DataRate { found: -1 }));
    assert_eq!(changed("DevNonce", json!(65_536)), Err(StationError::Json));
    let options = json!({
        "msgtype": "updf", "MHdr": 64, "DevAddr": 1, "FCtrl": 2, "FCnt": 1, "FOpts": "02", "FPort": -1,
        "FRMPayload": "", "MIC": 0, "DR": 5, "Freq": 868_100_000,
        "upinfo": { "rctx": 0, "xtime": 1, "gpstime": 0, "rssi": -80, "snr": 7 },
    });
    assert_eq!(read(&options.to_string()), Err(StationError::Field { field: "FOpts" }));
    for text in ["", "[]", "{", "{}", "\u{0}", &"[".repeat(3000)] {
        assert_eq!(read(text), Err(StationError::Json), "{text:.20}");
    }
    assert!(matches!(read(&" ".repeat(20_000)), Err(StationError::Size { .. })));
}

/// RP002-1.0.5, section 3.4: three channels, DR0 to DR5 are SF12 to SF7 at 125 kHz, DR6 SF7 at 250 kHz, DR7 FSK.
#[test]
fn a_gateway_is_told_the_rates_and_channels_of_the_region() {
    let join_euis = BTreeSet::from([JoinEui::from_display_bytes([2, 0, 0, 0, 0, 0, 0, 7])]);
    let text = router_config(&eu868(), &[], &join_euis).expect("a board hears them");
    let config: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(config["JoinEui"], json!([[0x0200_0000_0000_0007_u64, 0x0200_0000_0000_0007_u64]]));
    assert_eq!((&config["NetID"], &config["region"]), (&json!([0]), &json!("EU863")));
    let rates: Vec<Value> = config["DRs"].as_array().expect("a list").iter().take(8).cloned().collect();
    let lora: Vec<Value> = (0..6).map(|rate| json!([12 - rate, 125, 0])).collect();
    assert_eq!(rates, [lora, vec![json!([7, 250, 0]), json!([0, 0, 0])]].concat());
    assert_eq!(config["DRs"].as_array().map(Vec::len), Some(16));
    assert_eq!(heard(&config), [868_100_000, 868_300_000, 868_500_000]);
    // DR6 and DR7 are heard on one channel each, here the one in the middle of the three.
    let single = |config: &Value, name: &str| {
        let board = &config["sx1301_conf"][0];
        let one = &board[name];
        let radio = board[format!("radio_{}", one["radio"])]["freq"].as_i64().expect("a number");
        (radio + one["if"].as_i64().expect("a number"), one["bandwidth"].clone())
    };
    assert_eq!(single(&config, "chan_Lora_std"), (868_300_000, json!(250_000)));
    assert_eq!(single(&config, "chan_FSK"), (868_300_000, json!(125_000)));
    let board = &config["sx1301_conf"][0];
    assert_eq!(board["chan_Lora_std"]["spread_factor"], 7);
    assert_eq!(board["chan_FSK"]["datarate"], 50_000);
    let five = [867.1, 867.3, 867.5, 867.7, 867.9].map(Frequency::from_megahertz);
    let eight: Vec<Frequency> = eu868().default_channels().into_iter().chain(five).collect();
    let config: Value =
        serde_json::from_str(&router_config(&eu868(), &eight, &join_euis).expect("a board hears them"))
            .expect("JSON");
    assert_eq!(heard(&config).len(), 8);
    // US915: DR8 to DR13 are of downlinks alone; a bank of eight channels is heard, the whole plan is not.
    let us = Region::builtin("US915").expect("built in");
    assert_eq!(router_config(&us, &[], &join_euis), Err(ConfigError::Channels { found: 64 }));
    let bank: Vec<Frequency> = us.default_channels().into_iter().skip(8).take(8).collect();
    let config: Value =
        serde_json::from_str(&router_config(&us, &bank, &join_euis).expect("a board hears them"))
            .expect("JSON");
    assert_eq!((&config["DRs"][8], &config["DRs"][0]), (&json!([12, 500, 1]), &json!([10, 125, 0])));
    assert_eq!(heard(&config)[0], 903_900_000);
    assert_eq!(config["sx1301_conf"][0].get("chan_Lora_std"), None, "none of the bank is wide");
    // RP002-1.0.5, section 3.5: channel 65 lies at 904.6 MHz, DR4 is SF8 at 500 kHz.
    let wide = [&bank[..], &[Frequency::from_megahertz(904.6)]].concat();
    let text = router_config(&us, &wide, &join_euis).expect("a board hears them");
    let config: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(heard(&config).len(), 8, "the wide one is none of the eight");
    assert_eq!(single(&config, "chan_Lora_std"), (904_600_000, json!(500_000)));
    assert_eq!(config["sx1301_conf"][0]["chan_Lora_std"]["spread_factor"], 8);
    assert_eq!(config["sx1301_conf"][0].get("chan_FSK"), None);
    let apart = [863.1, 865.1, 868.1].map(Frequency::from_megahertz);
    assert_eq!(router_config(&eu868(), &apart, &join_euis), Err(ConfigError::Apart));
}

/// The channels that a board is set to, each within reach of its radio.
fn heard(config: &Value) -> Vec<i64> {
    let board = &config["sx1301_conf"][0];
    let channels = (0..8).filter_map(|place| board.get(format!("chan_multiSF_{place}")));
    let mut heard: Vec<i64> = channels
        .map(|channel| {
            let radio = &board[format!("radio_{}", channel["radio"])];
            assert_eq!(radio["enable"], true);
            let offset = channel["if"].as_i64().expect("a number");
            assert!(offset.abs() <= 400_000, "{offset}");
            radio["freq"].as_i64().expect("a number") + offset
        })
        .collect();
    heard.sort_unstable();
    heard
}
