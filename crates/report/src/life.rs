//! The closing report of a node: its life from the first frame to the last, held against what was promised of it.

use std::fmt::Write as _;

use design::node::Promise;
use design::quantity::Duration;

use crate::words;

/// What is known of a life that has ended. Times are as a person writes them.
#[derive(Clone, Debug)]
pub struct Life<'a> {
    /// What people called it.
    pub name: &'a str,
    /// Who it was: 16 hex digits.
    pub dev_eui: &'a str,
    /// Its kind.
    pub kind: &'a str,
    /// First and last day of its row in the registry.
    pub enrolled: (String, String),
    /// When it was heard first and last; none if it never was.
    pub heard: Option<(String, String)>,
    /// From the first frame to the last.
    pub lasted: Duration,
    /// Days on which it was heard.
    pub days_heard: u32,
    /// Messages that came.
    pub kept: u32,
    /// Messages that never came.
    pub lost: u32,
    /// Joins.
    pub joins: u32,
    /// The longest time without a message, and when it began.
    pub longest_silence: Option<(Duration, String)>,
    /// Alarms by rule.
    pub alarms: &'a [(String, u32)],
    /// Visits, and of them those that changed a part.
    pub visits: (u32, u32),
    /// What was promised, if its design is known.
    pub promise: Option<&'a Promise>,
}

impl Life<'_> {
    /// The report, line by line.
    #[must_use]
    pub fn text(&self) -> String {
        let mut out = format!("{} ({}, {})\n", self.name, self.kind, self.dev_eui);
        let mut line = |title: &str, said: &str| {
            writeln!(out, "  {title:<20} {said}").expect("a string takes any text");
        };
        line("enrolled", &format!("from {} to {}", self.enrolled.0, self.enrolled.1));
        let Some((first, last)) = &self.heard else {
            line("heard", "never");
            return out;
        };
        line(
            "heard",
            &format!("from {first} to {last}, on {}", words::count(self.days_heard as usize, "day")),
        );
        let share = percent(self.lost, self.kept + self.lost);
        line("messages", &format!("{} came, {} were lost ({share:.1} %)", self.kept, self.lost));
        line("joins", &self.joins.to_string());
        if let Some((silence, since)) = &self.longest_silence {
            line("longest silence", &format!("{}, from {since}", words::span(*silence)));
        }
        let alarms: Vec<String> = self.alarms.iter().map(|(rule, count)| format!("{rule} {count}")).collect();
        line("alarms", &if alarms.is_empty() { "none".to_owned() } else { alarms.join(", ") });
        line("visits", &format!("{}, of which {} changed a part", self.visits.0, self.visits.1));
        for (title, said) in self.promise.map(|promise| self.promises(promise)).unwrap_or_default() {
            line(title, &said);
        }
        out
    }

    /// What was promised, and whether it was kept.
    fn promises(&self, promise: &Promise) -> Vec<(&'static str, String)> {
        let kept = |held: bool| if held { "kept" } else { "not kept" };
        let mut all = Vec::new();
        let lived = words::planned_span(self.lasted);
        let (wanted, changed) = (words::planned_span(promise.unattended), self.visits.1);
        let unattended = if changed > 0 {
            format!("{lived} of {wanted}: not kept, a part was changed")
        } else if self.lasted.seconds() >= promise.unattended.seconds() {
            format!("{lived} of {wanted}: kept")
        } else {
            format!("{lived} of {wanted}: it was taken in before its time")
        };
        all.push(("promise unattended", unattended));
        if self.kept + self.lost > 0 {
            let heard = 1.0 - percent(self.lost, self.kept + self.lost) / 100.0;
            let wanted = promise.heard.fraction();
            let said =
                format!("{:.1} % of {:.0} %: {}", 100.0 * heard, 100.0 * wanted, kept(heard >= wanted));
            all.push(("promise heard", said));
        }
        if let (Some(freshness), Some((silence, _))) = (promise.freshness, &self.longest_silence) {
            let held = silence.seconds() <= freshness.seconds();
            let said =
                format!("silent for {} of {}: {}", words::span(*silence), words::span(freshness), kept(held));
            all.push(("promise freshness", said));
        }
        all
    }
}

fn percent(part: u32, whole: u32) -> f64 {
    if whole == 0 { 0.0 } else { 100.0 * f64::from(part) / f64::from(whole) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 3 of 100 lost are 3 %, so 97 % were heard.
    #[test]
    fn a_life_is_held_against_its_promise() {
        let text = include_str!("../../../examples/larkmoor/frost-mast.toml");
        let catalog = design::catalog::Catalog::builtin();
        let design =
            design::resolve::resolve(&catalog, &design::file::parse(text)).expect("it is sound").design;
        let mut life = Life {
            name: "mast-1",
            dev_eui: "0200000000000001",
            kind: "frost-mast",
            enrolled: ("2026-04-15".to_owned(), "2026-11-30".to_owned()),
            heard: Some(("2026-04-16 08:00".to_owned(), "2026-11-29 08:00".to_owned())),
            lasted: Duration::from_days(227.0),
            days_heard: 226,
            kept: 97,
            lost: 3,
            joins: 2,
            longest_silence: Some((Duration::from_hours(30.0), "2026-08-01 10:00".to_owned())),
            alarms: &[("silent".to_owned(), 2)],
            visits: (3, 0),
            promise: Some(&design.promise),
        };
        let said = life.text();
        for part in
            ["97 came, 3 were lost (3.0 %)", "on 226 days", "silent 2", "before its time", "97.0 % of"]
        {
            assert!(said.contains(part), "{part}: {said}");
        }
        life.visits = (3, 1);
        assert!(life.text().contains("not kept, a part was changed"));
        life.heard = None;
        assert!(life.text().ends_with("never\n"));
    }
}
