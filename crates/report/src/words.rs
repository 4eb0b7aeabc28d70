//! How figures, dates and verdicts are said.

use design::quantity::{Charge, Duration, Length};
use forecast::life::run::Darkness;
use forecast::load::{Phase, Purpose};
use verdict::Question;
use verdict::plan::{Fault, FaultKind, LedgerPurpose, Moment, Plan, Severity, Verdict};

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// Name of a month (1 to 12).
pub fn month(number: u8) -> &'static str {
    MONTHS.get(usize::from(number).wrapping_sub(1)).copied().unwrap_or("?")
}

/// First three letters of a month (1 to 12).
pub fn month_short(number: u8) -> &'static str {
    month(number).get(..3).unwrap_or("?")
}

const MONTH_DAYS: [usize; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/// Month (1 to 12) and day of a day of the year, the first of January being 0.
pub fn month_and_day(day_of_year: usize) -> (u8, u8) {
    let mut left = day_of_year % 365;
    for (month, days) in (1..).zip(MONTH_DAYS) {
        if left < days {
            return (month, u8::try_from(left + 1).unwrap_or(1));
        }
        left -= days;
    }
    (12, 31)
}

/// "9 January".
pub fn date(at: Moment) -> String {
    format!("{} {}", at.day, month(at.month))
}

/// "9 Jan".
pub fn date_short(at: Moment) -> String {
    format!("{} {}", at.day, month_short(at.month))
}

/// "9 January", or "9 January of year 3" in a life of several.
pub fn date_in_life(at: Moment, plan: &Plan) -> String {
    if plan.years > 1.0 { format!("{} of year {}", date(at), at.pass + 1) } else { date(at) }
}

/// What is asked, in a word.
pub fn question(question: Question) -> &'static str {
    match question {
        Question::Life => "life",
        Question::Law => "law",
        Question::Reach => "reach",
        Question::Message => "message",
    }
}

/// The verdict in one of our four words.
pub fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Holds => "holds",
        Verdict::Tight => "tight",
        Verdict::Fails => "fails",
        Verdict::NotKnown => "not known",
    }
}

/// The answer to "will it live?" as a sentence.
pub fn will_it_live(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Holds => "It will live.",
        Verdict::Tight => "It may not live.",
        Verdict::Fails => "It will not live.",
        Verdict::NotKnown => "Whether it lives is not known.",
    }
}

/// What charge comes from or goes to.
pub fn purpose(purpose: &LedgerPurpose) -> String {
    match purpose {
        LedgerPurpose::Sun => "sun".to_owned(),
        LedgerPurpose::Joining => "joining after a stop".to_owned(),
        LedgerPurpose::ChargerInTheDark => "charger in the dark".to_owned(),
        LedgerPurpose::SelfDischarge => "self-discharge and leakage".to_owned(),
        LedgerPurpose::Load(Purpose::Sleeping { load }) => format!("{load}: sleeping"),
        LedgerPurpose::Load(Purpose::Regulator { load }) => format!("{load}: regulator"),
        LedgerPurpose::Load(Purpose::Activity { activity, phase }) => {
            let phase = match phase {
                Phase::Measuring => "measuring",
                Phase::Sending => "sending",
                Phase::WaitingForWindow => "waiting for a window",
                Phase::Listening => "listening",
                Phase::RecordingSatellites => "recording satellites",
                Phase::Fixing => "fixing",
                Phase::SearchingInVain => "searching in vain",
            };
            format!("{activity}: {phase}")
        }
        LedgerPurpose::Load(Purpose::PositioningBackup) => "positioning backup".to_owned(),
        LedgerPurpose::Load(Purpose::BufferLeakage) => "buffer leakage".to_owned(),
        LedgerPurpose::Load(Purpose::Given) => "load".to_owned(),
    }
}

/// What goes wrong.
pub fn fault(fault: &Fault) -> &'static str {
    match fault.kind {
        FaultKind::RadioInStandby => "radio left in standby",
        FaultKind::GatewayAway => "gateway away, node keeps joining",
        FaultKind::ConfirmedInVain => "gateway away, confirmed messages retried eight times",
        FaultKind::ReceiverSearching => "positioning receiver searching under a roof",
        FaultKind::SensorsLeftOn => "sensors left powered",
        FaultKind::IdlingRegulator => "regulator that idles at 5 mA",
        FaultKind::PanelUnplugged => "panel unplugged",
        FaultKind::PanelBuried => "panel buried",
    }
}

/// What that adds to the load, or takes of the sun.
pub fn fault_effect(fault: &Fault) -> String {
    match fault.darkness {
        Darkness::Forever => "no sun for ever".to_owned(),
        Darkness::Days(days) => format!("no sun for {days} days"),
        Darkness::None => format!("{:.2} mA more", fault.extra.milliamperes()),
    }
}

/// How bad a finding is.
pub fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Warning => "warning",
        Severity::Danger => "danger",
    }
}

/// A span of time: hours under two days, then days, then years.
pub fn days(days: f64) -> String {
    if days < 2.0 {
        let hours = (days * 24.0).round();
        if (hours - 1.0).abs() < 0.5 { "1 hour".to_owned() } else { format!("{hours:.0} hours") }
    } else if days < 99.95 {
        format!("{days:.1} days")
    } else if days < 730.0 {
        format!("{days:.0} days")
    } else {
        format!("{:.1} years", Duration::from_days(days).years())
    }
}

/// How long something lasts: days under a quarter of a year, then months under two years, then years.
pub fn lasting(time: Duration) -> String {
    const MONTH_DAYS: f64 = 365.25 / 12.0;
    match time.days() {
        days if (91.0..730.0).contains(&days) => format!("{:.0} months", (days / MONTH_DAYS).floor()),
        days => self::days(days),
    }
}

/// A distance: metres under one kilometre, then kilometres.
pub fn distance(distance: Length) -> String {
    if distance.metres() < 999.5 {
        format!("{:.0} m", distance.metres())
    } else {
        format!("{:.1} km", distance.kilometres())
    }
}

/// A direction in words.
pub fn compass(azimuth_deg: f64) -> &'static str {
    const POINTS: [&str; 8] =
        ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];
    let points = (azimuth_deg.rem_euclid(360.0) / 45.0).round();
    POINTS.iter().zip(0_u8..).find(|(_, point)| f64::from(*point) >= points).map_or("north", |(name, _)| name)
}

/// A span of time, also a short one: "45 s", "7.5 min", "12 h", "3.0 days".
pub fn span(time: Duration) -> String {
    let tenths = |value: f64| figure_short((10.0 * value).round() / 10.0);
    match time.seconds() {
        seconds if seconds < 119.5 => format!("{} s", figure(seconds)),
        seconds if seconds < 90.0 * 60.0 => format!("{} min", tenths(seconds / 60.0)),
        seconds if seconds < 48.0 * 3600.0 => format!("{} h", tenths(seconds / 3600.0)),
        _ => days(time.days()),
    }
}

/// How long ago something was: "just now", "2 min ago", "3 h ago", "5 days ago"; what lies ahead "just now" within a minute.
pub fn ago(seconds: i64) -> String {
    match seconds {
        ..-60 => format!("in {}", span(Duration::from_seconds(-seconds as f64))),
        -60..60 => "just now".to_owned(),
        60..5_400 => format!("{} min ago", seconds / 60),
        5_400..172_800 => format!("{} h ago", seconds / 3_600),
        _ => format!("{} days ago", seconds / 86_400),
    }
}

/// A span that somebody wrote down: "1 year", "5 years", "30 days", "2.5 years".
pub fn planned_span(time: Duration) -> String {
    let whole = |value: f64| (value - value.round()).abs() < 0.005;
    match (time.years(), time.days()) {
        (years, _) if years > 0.9 && whole(years) => count(self::whole(years), "year"),
        (years, days) if years < 2.0 => count(self::whole(days), "day"),
        (years, _) => format!("{} years", figure_short(years)),
    }
}

/// Milliampere-hours with the digits worth reading, without the unit.
pub fn milliampere_hours(charge: Charge) -> String {
    figure(charge.milliampere_hours())
}

/// A figure with the digits worth reading: 123, 12.3, 0.12.
pub fn figure(value: f64) -> String {
    let digits = match value.abs() {
        size if size >= 99.95 => 0,
        size if size >= 0.995 => 1,
        size if size >= 0.005 => 2,
        size if size >= 0.0005 => 3,
        _ => return "0".to_owned(),
    };
    format!("{value:.digits$}")
}

/// The step of a value, with all its digits: 0.1, 25, 0.0001.
pub fn step(value: f64) -> String {
    let rounded: f64 = format!("{value:.5e}").parse().unwrap_or(value);
    format!("{rounded}")
}

/// The name of a file without the folders before it, which are nobody's business.
pub fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

/// A figure without needless zeros: 95, 99.5.
pub fn figure_short(value: f64) -> String {
    format!("{}", (value * 100.0).round() / 100.0)
}

/// A unit of a message as people write it.
pub fn unit(ucum: &str) -> &str {
    match ucum {
        "Cel" => "°C",
        "deg" => "°",
        other => other,
    }
}

/// A figure in at most four columns up to a million: 12k, 1234, 12, 1.2.
pub fn short_figure(value: f64) -> String {
    match value.abs() {
        0.0 => "0".to_owned(),
        size if size < 9.95 => format!("{value:.1}"),
        size if size < 9999.5 => format!("{value:.0}"),
        _ => format!("{:.0}k", value / 1000.0),
    }
}

/// A figure with its sign, also when positive.
pub fn signed(value: f64) -> String {
    let text = figure(value);
    if value > 0.0 && text != "0" { format!("+{text}") } else { text }
}

/// The nearest whole number; 0 for what is negative or no number.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the cast saturates, which is what is meant"
)]
pub fn whole(value: f64) -> usize {
    value.round() as usize
}

/// A whole number with commas between the thousands.
pub fn grouped(number: usize) -> String {
    let digits = number.to_string();
    let mut out = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// "1 outage", "2 outages".
pub fn count(number: usize, one: &str) -> String {
    format!("{} {one}{}", grouped(number), if number == 1 { "" } else { "s" })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 460 days are 15.1 months of 30.44 days, 279 days 9.2; a month that is not over does not count.
    #[test]
    fn what_lasts_is_said_in_months_or_years() {
        let said = [60.0, 279.0, 460.0, 729.0, 3652.5].map(|days| lasting(Duration::from_days(days)));
        assert_eq!(said, ["60.0 days", "9 months", "15 months", "23 months", "10.0 years"]);
    }

    #[test]
    fn figures_keep_three_digits_and_never_lose_their_sign() {
        let cases = [
            (0.0, "0"),
            (0.0421, "0.04"),
            (0.0021, "0.002"),
            (-0.0004, "0"),
            (9.96, "10.0"),
            (-3.24, "-3.2"),
            (99.96, "100"),
        ];
        for (value, said) in cases {
            assert_eq!(figure(value), said);
        }
        assert_eq!(signed(41.0), "+41.0");
        assert_eq!(signed(-41.0), "-41.0");
    }

    #[test]
    fn short_figures_fit_into_four_columns() {
        let said = [0.0, 0.04, 9.94, 9.96, 9999.4, 9999.6, 12_345.0, 999_400.0].map(short_figure);
        assert_eq!(said, ["0", "0.0", "9.9", "10", "9999", "10k", "12k", "999k"]);
    }

    #[test]
    fn days_of_the_year_are_dates() {
        assert_eq!([0, 58, 59, 364].map(month_and_day), [(1, 1), (2, 28), (3, 1), (12, 31)]);
    }

    #[test]
    fn thousands_are_set_apart_by_commas() {
        assert_eq!([0, 999, 1000, 43830, 1234567].map(grouped), ["0", "999", "1,000", "43,830", "1,234,567"]);
    }

    #[test]
    fn spans_that_were_written_down_come_back_as_they_were_meant() {
        let said = [7.0, 30.0, 365.25, 400.0, 5.0 * 365.25, 2.5 * 365.25]
            .map(|days| planned_span(Duration::from_days(days)));
        assert_eq!(said, ["7 days", "30 days", "1 year", "400 days", "5 years", "2.5 years"]);
        let said = [0.5, 7.5, 720.0, 4320.0].map(|minutes| span(Duration::from_minutes(minutes)));
        assert_eq!(said, ["30.0 s", "7.5 min", "12 h", "3.0 days"]);
    }

    #[test]
    fn a_step_keeps_its_digits_and_a_file_loses_its_folders() {
        assert_eq!([0.1, 25.0, 0.0001, 1.0 / 128.0].map(step), ["0.1", "25", "0.0001", "0.0078125"]);
        let files = ["/home/someone/node.toml", "C:\\nodes\\node.toml", "node.toml"];
        assert_eq!(files.map(file_name), ["node.toml"; 3]);
    }

    #[test]
    fn what_was_is_so_many_whole_minutes_hours_or_days_ago() {
        let said = [0, 59, 60, 5_399, 5_400, 172_799, 172_800].map(ago);
        let expected =
            ["just now", "just now", "1 min ago", "89 min ago", "1 h ago", "47 h ago", "2 days ago"];
        assert_eq!(said, expected);
        assert_eq!([ago(-59), ago(-7_200)], ["just now", "in 2 h"]);
    }

    #[test]
    fn spans_are_said_in_the_unit_a_person_would_use() {
        assert_eq!(
            [0.04, 0.5, 6.24, 120.4, 1461.0].map(days),
            ["1 hour", "12 hours", "6.2 days", "120 days", "4.0 years"]
        );
    }
}
