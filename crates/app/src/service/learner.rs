//! The thread that learns: each node's day is lived by its swarm once it is over, what passed before the start at the start.
//!
//! It waits for nobody and nobody waits for it: what it learned is handed in as any other arrival, and a day that is not
//! kept is lived again.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread;
use std::time::Duration;

use forecast::learn::{CauseKind, DAY_S, DayBand, Effort, Learned, Past, Reading, Swarm};
use forecast::sky::climate::Climate;
use logbook::clock::now;
use logbook::intake::door::Door;
use logbook::received::Moment;
use logbook::registry::Node;
use logbook::store::keeper::KeptFrame;
use logbook::store::learned::{self, Lesson, Said};
use logbook::store::query::supply;
use logbook::store::writer::Arrival;
use logbook::store::{StoreError, sqlite};
use logbook::watch::{Foretold, SOON_D};
use report::json::truth::{cause_word, lies_in_the_node};
use report::page::learned::LearnedNode;
use report::problem::Failure;
use report::sentences::truth::{self, Told};
use report::words;
use rusqlite::Connection;
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use tokio::sync::watch::Receiver;
use verdict::{Verdict, winter};
use wire::identity::DevEui;

use super::watcher::Twin;
use crate::input::fleet;
use crate::learning::{SECOND, Subject, counter_modulus};
use crate::output;
use crate::web::Truths;
use crate::web::pulse::Pulse;

/// A day is lived so long after it has ended: messages that were late have come by then (own choice) \[s\].
const AFTER_S: i64 = 1800;
/// A node without a voltage, or what can't be read or kept now, is looked at again after this \[s\].
const NEXT_TRY_S: i64 = 600;
/// Members of each of the swarms: half as many as `learn` has, since they are kept each day.
const MEMBERS: usize = 3000;
/// Days that are lived before they are kept.
const STRETCH: usize = 30;
/// Messages of so many days say what there is to learn from \[s\].
const OF_LATE_S: i64 = 40 * DAY_S;
/// Days that are drawn.
const DRAWN: i64 = 60;
/// Before so many days a cause calls nobody, unless nothing comes from the panel: what was believed still weighs too much.
const SURE_AFTER_DAYS: usize = 14;
/// Days on which a cause was told are counted no further back.
const LOOKED_BACK_DAYS: u32 = 30;
/// Between two looks at whether somebody has changed a part \[s\].
const VISITS_EVERY_S: i64 = 60;
/// Between two looks at whether a day has ended.
const PAUSE: Duration = Duration::from_secs(1);

/// What the thread works with.
struct Learner {
    site: Arc<fleet::Site>,
    rows: Vec<Node>,
    log: PathBuf,
    door: Arc<Door>,
    pulse: Arc<Pulse>,
    lookout: Arc<Twin>,
    truths: Arc<Truths>,
}

/// Where a node stands.
#[derive(Default)]
struct Progress {
    /// When it is to be looked at again \[s since 1970\].
    due_s: i64,
    /// When it is to be seen whether somebody has changed a part \[s since 1970\].
    visits_s: i64,
    /// Since when it is this node, once that is known.
    epoch: Option<Moment>,
    /// What was foretold and seen of late.
    days: Vec<DayBand>,
    /// What can't be done with it has been said.
    said: bool,
}

/// Begins to learn; it ends when the program is being stopped. In a demonstration a day passes in minutes, and the sun is not
/// that of the calendar: nothing is learned there.
pub(super) fn begin(
    pace: f64,
    (site, rows, log): (&Arc<fleet::Site>, &[Node], &Path),
    (door, pulse, lookout): (&Arc<Door>, &Arc<Pulse>, &Arc<Twin>),
) -> io::Result<Arc<Truths>> {
    let truths = Arc::new(Truths::default());
    let learner = Learner {
        site: Arc::clone(site),
        rows: rows.to_vec(),
        log: log.to_owned(),
        door: Arc::clone(door),
        pulse: Arc::clone(pulse),
        lookout: Arc::clone(lookout),
        truths: Arc::clone(&truths),
    };
    if (pace - 1.0).abs() < f64::EPSILON {
        thread::Builder::new().name("learn".to_owned()).spawn(move || learner.run())?;
    }
    Ok(truths)
}

/// Why nothing is learned of a node now.
enum Hindered {
    /// The log can't be read.
    Store(StoreError),
    /// The climate of its place is not known.
    Climate(Failure),
    /// What was learned can't be handed in now, or the program stops.
    Later,
}

impl From<StoreError> for Hindered {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl Learner {
    fn run(self) {
        let stopping = self.pulse.stopping();
        let mut standing: BTreeMap<String, Progress> = BTreeMap::new();
        let names: Vec<String> = self.site.designs().iter().map(|design| design.name.clone()).collect();
        while !*stopping.borrow() {
            for name in &names {
                let Some(subject) = Subject::of(&self.site, &self.rows, name) else { continue };
                let progress = standing.entry(name.clone()).or_default();
                if *stopping.borrow() {
                    return;
                }
                if progress.due_s <= now_s() || self.is_another(&subject, progress) {
                    self.look_after(&subject, progress, &stopping);
                }
            }
            thread::sleep(PAUSE);
        }
    }

    /// Whether somebody has changed a part of a node since it was looked at.
    fn is_another(&self, subject: &Subject<'_>, progress: &mut Progress) -> bool {
        if progress.visits_s > now_s() {
            return false;
        }
        progress.visits_s = now_s() + VISITS_EVERY_S;
        let since = sqlite::reader(&self.log).and_then(|log| subject.since(&log));
        // What can't be read now is read a minute later.
        since.is_ok_and(|since| progress.epoch.is_some_and(|epoch| epoch != since.unwrap_or(0)))
    }

    fn look_after(&self, subject: &Subject<'_>, progress: &mut Progress, stopping: &Receiver<bool>) {
        let why = match self.live(subject, progress, stopping) {
            Ok(due_s) => {
                (progress.due_s, progress.said) = (due_s, false);
                return;
            }
            Err(Hindered::Later) => None,
            Err(Hindered::Store(error)) => Some(error.to_string()),
            Err(Hindered::Climate(failure)) => {
                let said = failure.problems.iter().map(|problem| problem.message.as_str());
                Some(said.collect::<Vec<_>>().join("; "))
            }
        };
        progress.due_s = now_s() + NEXT_TRY_S;
        if let Some(why) = why.filter(|_| !progress.said) {
            progress.said = true;
            let name = &subject.design.name;
            output::complain(&format!("Nothing is learned of {name} now: {why}. It is tried again.\n"));
        }
    }

    /// Lives the days that are over; when to look again \[s since 1970\].
    fn live(
        &self,
        subject: &Subject<'_>,
        progress: &mut Progress,
        stopping: &Receiver<bool>,
    ) -> Result<i64, Hindered> {
        let log = sqlite::reader(&self.log)?;
        let dev_eui = subject.row.dev_eui;
        let since = subject.since(&log)?;
        let epoch = since.unwrap_or(0);
        let climate = self.site.climate(subject.design).map_err(Hindered::Climate)?;
        if progress.epoch.replace(epoch) != Some(epoch) {
            self.truths.forget(&subject.design.name);
            progress.days = match since {
                None => learned::days(&log, dev_eui, now_s() / DAY_S - DRAWN)?,
                Some(since) => learned::days(&log, dev_eui, since / SECOND / DAY_S)?,
            };
        }
        let kept = kept(subject, &log, epoch, &climate)?;
        let mut from_s = epoch / SECOND;
        if let Some(swarm) = &kept {
            from_s = from_s.max(swarm.next_begins_s() - OF_LATE_S);
        }
        let span = (from_s * SECOND, Moment::MAX);
        let readings = supply::supply(&log, dev_eui, subject.kind, span)?.readings;
        let swarm = match kept {
            Some(swarm) => swarm,
            None if readings.iter().all(|one| one.battery.is_none()) => return Ok(now_s() + NEXT_TRY_S),
            None => {
                progress.days.clear();
                Swarm::begin(&past(subject, &readings, now_s()), &climate, &effort())
            }
        };
        self.catch_up(subject, progress, (swarm, &readings, &climate), stopping)
    }

    fn catch_up(
        &self,
        subject: &Subject<'_>,
        progress: &mut Progress,
        (mut swarm, readings, climate): (Swarm, &[Reading], &Climate),
        stopping: &Receiver<bool>,
    ) -> Result<i64, Hindered> {
        let name = &subject.design.name;
        loop {
            let mut new = Vec::new();
            while swarm.next_ends_s() + AFTER_S <= now_s() && new.len() < STRETCH {
                if *stopping.borrow() {
                    return Err(Hindered::Later);
                }
                new.push(swarm.next_day(readings));
            }
            let is_up_to_date = swarm.next_ends_s() + AFTER_S > now_s();
            progress.days.retain(|day| new.iter().all(|other| other.day != day.day));
            progress.days.extend(&new);
            let is_new = !new.is_empty();
            let asked = is_up_to_date && (is_new || self.truths.of(name).is_none());
            let news = asked.then(|| self.conclude(subject, progress, &swarm, readings)).transpose()?;
            match news {
                news if is_new => self.keep(subject, progress, (new, &swarm, climate), news)?,
                Some((_, news)) => news.tell(),
                None => {}
            }
            if is_up_to_date {
                return Ok(swarm.next_ends_s() + AFTER_S);
            }
        }
    }

    /// Says what the swarm says now, on the page and to the watch.
    fn conclude(
        &self,
        subject: &Subject<'_>,
        progress: &Progress,
        swarm: &Swarm,
        readings: &[Reading],
    ) -> Result<(Said, News), Hindered> {
        let ends_s = swarm.next_begins_s();
        let of_late = readings.partition_point(|one| one.at_s < ends_s - OF_LATE_S)
            ..readings.partition_point(|one| one.at_s < ends_s);
        let readings = readings.get(of_late).unwrap_or_default();
        let last = swarm.last_day();
        let days = progress.days.iter().filter(|day| day.day > last - DRAWN).copied().collect();
        let learned = swarm.learned(&past(subject, readings, ends_s), days, &effort());
        let figures = figures(&learned);
        let winter = winter(subject.design, &learned);
        let told = told(subject, learned);
        let shown = LearnedNode::of(&told, winter.as_ref());
        let said = Said { day: last, figures, text: shown.figures.to_string() };
        let news = News {
            name: subject.design.name.clone(),
            dev_eui: subject.row.dev_eui,
            day: last,
            shown,
            foretold: self.foretold(subject, &told, (last, ends_s))?,
            truths: Arc::clone(&self.truths),
            pulse: Arc::clone(&self.pulse),
            lookout: Arc::clone(&self.lookout),
        };
        Ok((said, news))
    }

    /// What the watch is told: how long the cause of today has been told, today counted. Earlier days that can't be read hinder
    /// it: counted from today, an alarm that stands would close.
    fn foretold(
        &self,
        subject: &Subject<'_>,
        told: &Told,
        (day, ends_s): (i64, i64),
    ) -> Result<Foretold, StoreError> {
        let learned = &told.truth.learned;
        let log = sqlite::reader(&self.log)?;
        let before = learned::said_before(&log, subject.row.dev_eui, day, LOOKED_BACK_DAYS)?;
        let before: Vec<Before> = before.iter().map(|text| Before::read(text)).collect::<Result<_, _>>()?;
        let today = Before::of(told);
        let running = |is: fn(&Before) -> bool| days_running(&before, &today, is);
        let days = learned.silence.days;
        Ok(Foretold {
            at: ends_s * SECOND,
            days_left: (days.p50, days.p05),
            soon: learned.silence.within(SOON_D).unwrap_or(learned.silence.p),
            cause: truth::explains(learned).map(|cause| truth::cause(cause, told)),
            told_days: running(|day| day.is_told),
            clear_days: running(|day| !day.is_told),
            holds: learned.capacity.p50,
            worn_days: running(|day| day.is_worn),
        })
    }

    /// Has it kept, and told once it is; a day that is not kept is lived again.
    fn keep(
        &self,
        subject: &Subject<'_>,
        progress: &Progress,
        (days, swarm, climate): (Vec<DayBand>, &Swarm, &Climate),
        news: Option<(Said, News)>,
    ) -> Result<(), Hindered> {
        let swarm = [&mark(subject, climate)[..], &swarm.to_bytes()].concat();
        let epoch = progress.epoch.ok_or(Hindered::Later)?;
        let (said, news) = news.unzip();
        let lesson = Lesson { dev_eui: subject.row.dev_eui, epoch, days, swarm, said };
        let done = move |_: Option<&KeptFrame>| {
            if let Some(news) = news {
                news.tell();
            }
        };
        let lesson = Arrival::Learned(Box::new(lesson));
        self.door.try_offer(lesson, Box::new(done)).map_err(|_full| Hindered::Later)
    }
}

/// What is told of a node once it is on the disk.
struct News {
    name: String,
    dev_eui: DevEui,
    day: i64,
    shown: LearnedNode,
    foretold: Foretold,
    truths: Arc<Truths>,
    pulse: Arc<Pulse>,
    lookout: Arc<Twin>,
}

impl News {
    fn tell(self) {
        self.truths.put(&self.name, self.shown);
        self.pulse.forecast(&self.name, self.day);
        self.lookout.foretold(self.dev_eui, self.foretold);
    }
}

/// The swarm that was kept, if the node is still the one of whom it was learned.
fn kept(
    subject: &Subject<'_>,
    log: &Connection,
    epoch: Moment,
    climate: &Climate,
) -> Result<Option<Swarm>, StoreError> {
    let Some(bytes) = learned::swarm(log, subject.row.dev_eui, epoch)? else { return Ok(None) };
    let mark = mark(subject, climate);
    let Some(bytes) = bytes.strip_prefix(&mark[..]) else { return Ok(None) };
    let model = (subject.design, climate);
    // One of another edition of the program is learned anew.
    Ok(Swarm::from_bytes(bytes, model, (counter_modulus(subject.kind), None), 1).ok())
}

/// What a day said that counts for alarms.
struct Before {
    /// A cause by which the promise fails.
    is_told: bool,
    /// The battery is worn.
    is_worn: bool,
}

impl Before {
    /// Of the day that was learned last.
    fn of(told: &Told) -> Self {
        let learned = &told.truth.learned;
        let is_old = learned.days >= SURE_AFTER_DAYS;
        let is_sure = is_old || learned.regimes[1] > 0.5;
        Self {
            is_told: told.truth.verdict == Verdict::Fails && is_sure && truth::explains(learned).is_some(),
            is_worn: is_old && learned.causes.iter().any(|one| one.kind == CauseKind::BatteryWorn),
        }
    }

    /// Of a day's words as they were kept.
    fn read(text: &str) -> Result<Self, StoreError> {
        let said: Value = serde_json::from_str(text)
            .map_err(|error| StoreError::Damaged { why: format!("what a day taught is no JSON: {error}") })?;
        let causes = || said["causes"].as_array().into_iter().flatten();
        let named = |is: &dyn Fn(&str) -> bool| causes().filter_map(|one| one["cause"].as_str()).any(is);
        Ok(Self {
            is_told: said["verdict"] == "fails" && named(&lies_in_the_node),
            is_worn: named(&|word| word == cause_word(CauseKind::BatteryWorn)),
        })
    }
}

/// Days running on which it was so, today counted; none if it is not so today.
fn days_running(before: &[Before], today: &Before, is: fn(&Before) -> bool) -> u32 {
    if !is(today) {
        return 0;
    }
    let running = 1 + before.iter().take_while(|day| is(day)).count();
    u32::try_from(running).unwrap_or(u32::MAX)
}

fn figures(learned: &Learned) -> Vec<(&'static str, forecast::learn::Band)> {
    vec![
        ("charge", learned.charge),
        ("yield_of_design", learned.yields),
        ("load_mah_per_day", learned.load_mah_per_day),
        ("capacity_of_label", learned.capacity),
        ("days_to_silence", learned.silence.days),
    ]
}

fn told(subject: &Subject<'_>, learned: Learned) -> Told {
    let design = subject.design;
    Told {
        name: design.name.clone(),
        file: subject.file.to_owned(),
        log: "the log".to_owned(),
        note: design.note.clone(),
        unattended: words::planned_span(design.promise.unattended),
        tolerated: Vec::new(),
        truth: verdict::truth(design, learned),
    }
}

fn past<'a>(subject: &Subject<'a>, readings: &'a [Reading], as_of_s: i64) -> Past<'a> {
    Past {
        design: subject.design,
        readings,
        as_of_s,
        counter_modulus: counter_modulus(subject.kind),
        sun: None,
    }
}

fn effort() -> Effort {
    Effort { members: MEMBERS, threads: 1, ..Effort::default() }
}

/// What a swarm was learned with: another design, place or climate makes another node.
fn mark(subject: &Subject<'_>, climate: &Climate) -> [u8; 32] {
    Sha256::digest(format!("{:?} {:?} {:?}", subject.design, climate, effort())).into()
}

fn now_s() -> i64 {
    now().div_euclid(SECOND)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_counted_back_to_the_first_that_differs_and_damaged_words_are_an_error() {
        let of = |text: &str| Before::read(text);
        let worn = r#"{"verdict": "holds", "causes": [{"cause": "battery_worn"}]}"#;
        let fails = r#"{"verdict": "fails", "causes": [{"cause": "panel_low"}]}"#;
        let dark = r#"{"verdict": "fails", "causes": [{"cause": "weather_worse"}]}"#;
        let days: Vec<Before> = [fails, fails, worn, dark].map(|text| of(text).expect("JSON")).into();
        let today = of(fails).expect("JSON");
        assert_eq!(days_running(&days, &today, |day| day.is_told), 3);
        assert_eq!(days_running(&days, &today, |day| day.is_worn), 0);
        let worn = of(worn).expect("JSON");
        assert_eq!(days_running(&days[2..], &worn, |day| day.is_worn), 2);
        assert_eq!(days_running(&days[2..], &worn, |day| !day.is_told), 3, "the weather is no cause");
        assert!(of("half a li").is_err());
    }
}
