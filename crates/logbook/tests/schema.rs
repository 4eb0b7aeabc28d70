//! The tables of the log, by name and column, as they are written down for those who read it with other tools; and logs of
//! older programs, which are brought up to date.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use logbook::store::sqlite::{self, Log};
use rusqlite::Connection;

/// Tables and columns of the store's written design. Where it leaves columns open, those stand here that people and the
/// page are told of (own choice).
const TABLES: &[(&str, &str)] = &[
    (
        "frame",
        "clock_unsure id seq arrived_at at at_from kind verdict reason session fcnt port confirmed adr bytes payload options data_rate \
         freq_hz airtime_us source report_key",
    ),
    ("reception", "clock_unsure frame arrived_at gateway rssi snr antenna gateway_clock_us gps_us"),
    ("node", "id dev_eui join_eui dev_addr dev_nonce join_nonce"),
    (
        "session",
        "id node source run state dev_nonce join_nonce net_id dev_addr last_up last_down opened closed",
    ),
    ("edition", "id kind digest design since until fields"),
    ("reading", "node at message frame edition vals marks rebuilt late"),
    ("hour", "node message field hour n least mean greatest marked"),
    ("day", "node message field day n least mean greatest marked"),
    ("stale_hour", "node hour"),
    ("gateway", "id name eui last_sign_of_life last_address last_report"),
    (
        "gateway_report",
        "gateway at heard intact passed_on acknowledged_share answers_received answers_sent latitude longitude extra",
    ),
    (
        "downlink",
        "id node session fcnt gateway asked_at window freq_hz data_rate airtime_us bytes why outcome",
    ),
    ("setting", "id node message vals asked_by asked_at state confirmed_by_frame port payload sent_at"),
    ("alarm", "id rule node gateway opened_at seen_at seen_by word closed_at cause evidence told"),
    ("visit", "id node at by what parts before after photo_file own_id"),
    ("pause", "node from until why"),
    ("band", "node day quantity p05 p50 p95"),
    ("swarm", "node epoch bytes"),
    ("truth", "node day said"),
    ("person", "id name may hash added_at removed_at"),
    ("login", "id person hash since last_seen until"),
    ("invitation", "id person hash until"),
    ("api_token", "id person name may hash added_at last_used removed_at"),
    ("deed", "at who what on"),
    ("tell_queue", "id alarm way due tries last_error"),
    ("meta", "key value"),
];

/// What must be there once, and the indices of the written design.
const INDICES: &[(&str, &str)] = &[
    ("frame", "UNIQUE (session, fcnt) WHERE verdict IN ('new', 'late')"),
    ("frame", "UNIQUE (session, report_key) WHERE report_key IS NOT NULL"),
    ("frame", "(at)"),
    ("frame", "(session, at)"),
    ("frame", "(verdict, at)"),
    ("downlink", "UNIQUE (session, fcnt)"),
];

fn names(log: &Connection, sql: &str) -> BTreeSet<String> {
    let mut statement = log.prepare(sql).expect("sound SQL");
    let rows = statement.query_map([], |row| row.get(0)).expect("it is read");
    rows.collect::<Result<_, _>>().expect("texts")
}

fn new_log(folder: &Path) -> Connection {
    let path = folder.join("log.sqlite");
    drop(Log::open(&path).expect("it is made"));
    Connection::open(&path).expect("it opens")
}

#[track_caller]
fn assert_tables(log: &Connection) {
    for (table, columns) in TABLES {
        let found = names(log, &format!("SELECT name FROM pragma_table_info('{table}')"));
        let expected: BTreeSet<String> = columns.split_whitespace().map(str::to_owned).collect();
        assert!(found.is_superset(&expected), "{table} lacks {:?}", expected.difference(&found));
    }
}

#[test]
fn every_table_and_column_of_the_written_design_is_there() {
    let folder = tempfile::tempdir().expect("a folder");
    let log = new_log(folder.path());
    assert_tables(&log);
    for (table, index) in INDICES {
        let sql = format!(
            "SELECT sql FROM sqlite_schema WHERE type = 'index' AND tbl_name = '{table}' AND sql NOT NULL"
        );
        let (unique, columns) = index.strip_prefix("UNIQUE ").map_or(("", *index), |rest| ("UNIQUE ", rest));
        let found = names(&log, &sql);
        let is_it = |sql: &String| {
            sql.starts_with(&format!("CREATE {unique}INDEX"))
                && sql.ends_with(&format!("ON {table} {columns}"))
        };
        assert!(found.iter().any(is_it), "{table} {index}: {found:?}");
    }
    let strict = "SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND NOT strict \
                  AND name NOT LIKE 'sqlite_%'";
    assert_eq!(names(&log, strict), BTreeSet::new(), "all tables are STRICT");
}

/// Each removed frame would look through all readings, if they pointed at it by a foreign key.
#[test]
fn what_points_at_a_frame_by_a_foreign_key_has_an_index_for_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let log = new_log(folder.path());
    let pointing = "SELECT m.name || '.' || f.\"from\" FROM sqlite_schema m, pragma_foreign_key_list(m.name) f \
                    WHERE m.type = 'table' AND f.\"table\" = 'frame'";
    let found = names(&log, pointing);
    // Settings are few.
    assert_eq!(found, ["reception.frame", "setting.confirmed_by_frame"].map(str::to_owned).into());
}

fn kept_log() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/v1/log.sqlite")
}

#[test]
fn a_log_of_the_first_edition_is_migrated_after_a_copy_and_says_what_it_said() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    std::fs::copy(kept_log(), &path).expect("it is there");
    let all = "SELECT node || ' ' || at || ' ' || message || ' ' || frame || ' ' || edition || ' ' || vals || ' ' || \
               coalesce(marks, '') || rebuilt || late FROM reading";
    let receptions = "SELECT rowid || ' ' || frame || ' ' || arrived_at || ' ' || gateway || ' ' || rssi || ' ' || snr \
                      FROM reception";
    let before = Connection::open(&path).expect("it opens");
    let (readings, heard) = (names(&before, all), names(&before, receptions));
    assert!(readings.len() > 200 && heard.len() > 300, "{} {}", readings.len(), heard.len());
    drop(before);

    let refused = sqlite::reader(&path).expect_err("it is of an older program");
    assert!(refused.to_string().contains("an older program wrote it"), "{refused}");
    drop(Log::open(&path).expect("it is migrated"));
    let copy = folder.path().join("log.sqlite.before-2");
    assert!(copy.is_file(), "a copy of before lies beside it");
    let log = sqlite::reader(&path).expect("it opens");
    assert_tables(&log);
    assert_eq!((names(&log, all), names(&log, receptions)), (readings.clone(), heard));
    let sound: String = log.query_row("PRAGMA integrity_check", [], |row| row.get(0)).expect("it is checked");
    assert_eq!(sound, "ok");
    assert_eq!(names(&log, "SELECT \"table\" FROM pragma_foreign_key_check"), BTreeSet::new());
    let before = Connection::open(&copy).expect("it opens");
    let edition: u32 = before.pragma_query_value(None, "user_version", |row| row.get(0)).expect("a number");
    assert_eq!((edition, names(&before, all)), (1, readings));
    drop(Log::open(&path).expect("it opens again, and nothing is to be done"));
    assert!(!folder.path().join("log.sqlite.before-3").exists());
}
