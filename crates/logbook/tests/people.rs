//! Who may, as the log keeps it.

use std::path::PathBuf;

use logbook::keys::Passphrase;
use logbook::people::{Hash, May, Word};
use logbook::received::Moment;
use logbook::store::people::{By, LINK_HOLDS, LOGIN_HOLDS, People, PeopleError, Shown};
use logbook::store::sqlite;
use tempfile::TempDir;
use zeroize::Zeroizing;

const NOW: Moment = 1_796_000_000_000_000;
const HOUR: Moment = 3_600_000_000;

fn by(at: Moment) -> By<'static> {
    By { who: "command line", at }
}

fn people() -> (TempDir, PathBuf, People) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let people = People::of_any(&path).expect("the log is made");
    (folder, path, people)
}

fn word() -> Word {
    Word::draw().expect("it is drawn")
}

fn hash(text: &str) -> Hash {
    let passphrase = Passphrase::new(Zeroizing::new(text.to_owned())).expect("it is not empty");
    Hash::of(&passphrase).expect("it is worked out")
}

#[test]
fn a_name_is_there_once_and_can_come_back_after_it_was_removed() {
    let (_folder, _, people) = people();
    assert!(!people.any().expect("it is read"));
    people.add("ann", May::Act, Some(&hash("rain on the moor")), by(NOW)).expect("it is added");
    let again = people.add("ann", May::Keys, None, by(NOW));
    assert!(matches!(again, Err(PeopleError::Taken { .. })), "{again:?}");
    assert!(matches!(people.add("ann\n", May::Read, None, by(NOW)), Err(PeopleError::Name(_))));
    let login = people.log_in("ann", &word(), NOW).expect("she logs in");
    people.remove("ann", by(NOW + 1)).expect("she is removed");
    assert!(!people.any().expect("it is read") && people.hash("ann").expect("it is read").is_none());
    assert!(matches!(people.remove("ann", by(NOW)), Err(PeopleError::Nobody { .. })));
    people.add("ann", May::Read, None, by(NOW + 2)).expect("she comes back");
    let ann = people.named("ann").expect("she is there");
    assert_eq!((ann.may, ann.has_passphrase, ann.added_at), (May::Read, false, NOW + 2));
    assert!(people.known(Shown::Login(login), &word(), NOW + 3).expect("it is read").is_none());
}

#[test]
fn a_browsers_word_holds_for_thirty_days_and_for_its_person_alone() {
    let (_folder, _, people) = people();
    people.add("ann", May::Act, None, by(NOW)).expect("it is added");
    let (ours, others) = (word(), word());
    let login = people.log_in("ann", &ours, NOW).expect("she logs in");
    let known = |word: &Word, at| people.known(Shown::Login(login), word, at).expect("it is read");
    let ann = known(&ours, NOW).expect("it holds");
    assert_eq!((ann.name.as_str(), ann.may), ("ann", May::Act));
    assert_eq!(known(&others, NOW), None);
    assert!(
        people.known(Shown::Token(login), &ours, NOW).expect("it is read").is_none(),
        "it is no program's"
    );
    // 30 days by hand: 30 * 24 * 3600 s.
    assert_eq!(LOGIN_HOLDS, 2_592_000 * 1_000_000);
    assert!(known(&ours, NOW + LOGIN_HOLDS - 1).is_some() && known(&ours, NOW + LOGIN_HOLDS).is_none());
    people.log_out(login, By { who: "ann", at: NOW }).expect("she logs out");
    assert_eq!(known(&ours, NOW), None);
}

#[test]
fn a_program_may_no_more_than_its_person_and_never_more_than_it_was_given() {
    let (_folder, _, people) = people();
    people.add("ann", May::Act, None, by(NOW)).expect("it is added");
    let ours = word();
    let beyond = people.give_token("ann", "display", May::Keys, &ours, by(NOW));
    assert!(matches!(beyond, Err(PeopleError::Beyond { .. })), "{beyond:?}");
    let token = people.give_token("ann", "display", May::Read, &ours, by(NOW)).expect("it is given");
    let known = || people.known(Shown::Token(token), &ours, NOW).expect("it is read");
    assert_eq!(known().map(|known| known.may), Some(May::Read));
    assert!(people.take_token("ann", "display", by(NOW)).expect("it is taken"));
    assert!(!people.take_token("ann", "display", by(NOW)).expect("it was taken"));
    assert_eq!(known(), None);
    let another = word();
    let token = people.give_token("ann", "display", May::Act, &another, by(NOW)).expect("it is given");
    people.remove("ann", by(NOW)).expect("she is removed");
    people.add("ann", May::Read, None, by(NOW)).expect("she comes back");
    assert!(people.known(Shown::Token(token), &another, NOW).expect("it is read").is_none());
}

#[test]
fn when_a_word_was_shown_is_noted_once_an_hour_at_most() {
    let (_folder, path, people) = people();
    people.add("ann", May::Read, None, by(NOW)).expect("it is added");
    let ours = word();
    let token = people.give_token("ann", "display", May::Read, &ours, by(NOW)).expect("it is given");
    let used = |at| {
        people.known(Shown::Token(token), &ours, at).expect("it is read").expect("it holds");
        people.tokens(people.named("ann").expect("she is there").id).expect("it is read")[0].last_used
    };
    assert_eq!(used(NOW + 5), Some(NOW + 5));
    assert_eq!(used(NOW + 5 + HOUR - 1), Some(NOW + 5));
    assert_eq!(used(NOW + 5 + HOUR), Some(NOW + 5 + HOUR));
    drop(path);
}

#[test]
fn a_link_sets_one_passphrase_within_two_days() {
    let (_folder, _, people) = people();
    people.add("ann", May::Read, None, by(NOW)).expect("it is added");
    let (first, ours) = (word(), word());
    let old = people.invite("ann", &first, by(NOW)).expect("a link");
    let link = people.invite("ann", &ours, by(NOW)).expect("another");
    let invited = |link, word: &Word, at| people.invited(link, word, at).expect("it is read");
    assert_eq!(invited(old, &first, NOW), None, "the one of before no longer holds");
    assert_eq!(invited(link, &first, NOW), None);
    assert_eq!(invited(link, &ours, NOW + LINK_HOLDS - 1).as_deref(), Some("ann"));
    assert_eq!(invited(link, &ours, NOW + LINK_HOLDS), None);
    assert!(people.accept(link, "ann", &hash("rain on the moor"), NOW).expect("it is set"));
    assert!(!people.accept(link, "ann", &hash("another passphrase"), NOW).expect("it was used up"));
    let passphrase = Passphrase::new(Zeroizing::new("rain on the moor".to_owned())).expect("it is not empty");
    let hash = people.hash("ann").expect("it is read").expect("it is set");
    assert!(hash.is_of(&passphrase).expect("it is worked out"));
}

#[test]
fn every_act_is_a_row_with_who_and_when_and_no_word_is_in_the_file() {
    let (_folder, path, people) = people();
    people.add("ann", May::Keys, Some(&hash("rain on the moor")), by(NOW)).expect("it is added");
    let words = [word(), word(), word()];
    people.invite("ann", &words[0], by(NOW + 1)).expect("a link");
    people.give_token("ann", "display", May::Read, &words[1], by(NOW + 2)).expect("it is given");
    let login = people.log_in("ann", &words[2], NOW + 3).expect("she logs in");
    people.log_out(login, By { who: "ann", at: NOW + 4 }).expect("she logs out");
    people.remove("ann", by(NOW + 5)).expect("she is removed");
    let log = sqlite::reader(&path).expect("it opens");
    let mut statement =
        log.prepare("SELECT at, who, what, \"on\" FROM deed ORDER BY id").expect("it is read");
    let rows: Vec<(Moment, String, String, String)> = statement
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))
        .and_then(Iterator::collect)
        .expect("rows");
    let expected = [
        (NOW, "command line", "added a person who may keys"),
        (NOW + 1, "command line", "made a link by which a passphrase is set"),
        (NOW + 2, "command line", "gave the program \"display\" a word that may read"),
        (NOW + 3, "ann", "logged in"),
        (NOW + 4, "ann", "logged out"),
        (NOW + 5, "command line", "removed a person"),
    ];
    let found: Vec<(Moment, &str, &str)> =
        rows.iter().map(|(at, who, what, _)| (*at, who.as_str(), what.as_str())).collect();
    assert_eq!(found, expected);
    assert!(rows.iter().all(|(.., on)| on == "ann"));
    let mut bytes = std::fs::read(&path).expect("it is there");
    bytes.extend(std::fs::read(path.with_extension("sqlite-wal")).expect("it is there"));
    let holds = |text: &str| bytes.windows(text.len()).any(|stretch| stretch == text.as_bytes());
    assert!(holds("command line"), "the search finds what is there");
    for word in &words {
        assert!(!holds(word.reveal()));
    }
    assert!(!holds("rain on the moor"));
}
