//! A design that somebody types: what is said of each text at once, then of its first lives, then of all of them. What two
//! texts have in common is worked out once, and work for a text that has been typed over ends.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::available_parallelism;
use std::time::{Duration, Instant};

use forecast::Progress;
use forecast::life::prepared::Prepared;
use forecast::sky::climate::Climate;
use forecast::terrain::Terrain;
use report::page::design::{DesignAnswer, TextProblem};
use report::problem::{Failure, Problem};
use verdict::plan::{Effort, LifeInBrief, Weather};
use verdict::{BeforeLife, Finding, Severity, Verdict};

use super::promises::{SEED, subject};
use crate::input::{self, Checked};

/// Lives while somebody types: enough to tell what lives from what does not.
const FIRST_LIVES: usize = 50;
/// They are lived for no longer than this; one batch of them always is.
const FIRST_LIVES_FOR: Duration = Duration::from_millis(150);
/// Lives of a text at rest: those of `check`, unless the promise asks it for more.
const LIVES: usize = 1000;
/// Browsers that are remembered; with more, all are forgotten.
const MOST_TYPING: usize = 64;

/// How far a text is answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Step {
    /// What hangs on no life: mistakes, law, reach and message.
    AtOnce,
    /// With the first lives, while somebody types.
    FirstLives,
    /// As `check` answers.
    Whole,
}

impl Step {
    /// The step of a word; a form sent without script asks for everything.
    pub(super) fn named(word: Option<&str>) -> Self {
        match word {
            Some("at-once") => Self::AtOnce,
            Some("first-lives") => Self::FirstLives,
            _ => Self::Whole,
        }
    }
}

/// Browsers in which somebody types, each with how often it has asked; and what was worked out for the texts.
#[derive(Default)]
pub(crate) struct Typing {
    asked: Mutex<BTreeMap<String, Arc<AtomicU64>>>,
    /// By the file over which a text was written.
    kept: Mutex<BTreeMap<String, Kept>>,
}

/// What the next text may take over from the one before it.
#[derive(Clone, Default)]
struct Kept {
    draft: Option<Arc<Draft>>,
    prepared: Option<Arc<Prepared>>,
    ground: Option<(Vec<String>, Arc<Terrain>)>,
}

/// A text without mistakes, as far as no life is needed.
struct Draft {
    text: String,
    checked: Checked,
    climate: Climate,
    before: BeforeLife,
    problems: Vec<TextProblem>,
}

/// A question about a text; it is stale as soon as the same browser asks a newer one, or has gone.
#[derive(Clone)]
pub(super) struct Question {
    asked: Arc<AtomicU64>,
    own: u64,
}

/// Whoever asked waits for the answer; dropped, nobody does.
pub(super) struct Waiting(Question);

impl Drop for Waiting {
    fn drop(&mut self) {
        let Question { asked, own } = &self.0;
        // A newer question has its own number.
        let _newer = asked.compare_exchange(*own, own + 1, Ordering::Relaxed, Ordering::Relaxed);
    }
}

impl Question {
    /// Held for as long as somebody waits for the answer.
    pub(super) fn waiting(&self) -> Waiting {
        Waiting(self.clone())
    }

    fn is_stale(&self) -> bool {
        self.asked.load(Ordering::Relaxed) != self.own
    }
}

/// How long the lives of a question may take.
struct Patience<'a> {
    question: &'a Question,
    until: Option<Instant>,
    has_lived: AtomicBool,
}

impl<'a> Patience<'a> {
    fn new(question: &'a Question, until: Option<Instant>) -> Self {
        Self { question, until, has_lived: AtomicBool::new(false) }
    }
}

impl Progress for Patience<'_> {
    fn report(&self, _: usize, _: usize) {
        self.has_lived.store(true, Ordering::Relaxed);
    }

    fn stop(&self) -> bool {
        let is_late = || self.until.is_some_and(|until| Instant::now() >= until);
        self.question.is_stale() || (self.has_lived.load(Ordering::Relaxed) && is_late())
    }
}

impl Typing {
    /// A question of a browser that calls itself so; one without a name asks but once.
    pub(super) fn question(&self, by: &str) -> Question {
        let mut all = self.asked.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() >= MOST_TYPING && !all.contains_key(by) {
            all.clear();
        }
        let asked =
            if by.is_empty() { Arc::default() } else { Arc::clone(all.entry(by.to_owned()).or_default()) };
        Question { own: asked.fetch_add(1, Ordering::Relaxed) + 1, asked }
    }

    /// What is said of a text that stands in place of a design file of the site.
    pub(super) fn said(
        &self,
        (file, on_disk): (&str, &Checked),
        text: &str,
        step: Step,
        question: &Question,
    ) -> DesignAnswer {
        let begun = Instant::now();
        let draft = match self.draft(file, on_disk, text) {
            Ok(draft) => draft,
            Err(failure) => return mistaken(text, &failure),
        };
        let prepared = |step| (step != Step::AtOnce).then(|| self.prepared(file, &draft));
        let Some(prepared) = prepared(step) else { return draft.at_once() };
        let until = (step == Step::FirstLives).then(|| begun + FIRST_LIVES_FOR);
        let patience = Patience::new(question, until);
        if step == Step::FirstLives {
            draft.with_first_lives(&prepared, &patience)
        } else {
            draft.whole(&prepared, &patience)
        }
    }

    fn kept(&self) -> MutexGuard<'_, BTreeMap<String, Kept>> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn kept_of(&self, file: &str) -> Kept {
        self.kept().get(file).cloned().unwrap_or_default()
    }

    /// The text as a design with all that hangs on no life; that of the same text is not worked out again.
    fn draft(&self, file: &str, on_disk: &Checked, text: &str) -> Result<Arc<Draft>, Failure> {
        let kept = self.kept_of(file);
        if let Some(known) = kept.draft.filter(|known| known.text == text) {
            return Ok(known);
        }
        let checked = on_disk.retyped(text)?;
        let climate = input::climate(&checked)?;
        let (ground, unread) = self.ground(file, on_disk, &checked)?;
        let before = BeforeLife::of(&checked.design, ground.as_deref(), &[], SEED);
        let warned = checked.warnings.iter().chain(&unread).map(|one| problem(text, one));
        let found = before.law.findings.iter().chain(&before.reach.findings);
        let found = found.chain(before.learnable.iter().flat_map(|learnable| &learnable.finding));
        let problems = warned.chain(found.filter_map(|one| warning(text, &checked, one))).collect();
        let draft = Arc::new(Draft { text: text.to_owned(), checked, climate, before, problems });
        self.kept().entry(file.to_owned()).or_default().draft = Some(Arc::clone(&draft));
        Ok(draft)
    }

    /// The ground that the file on the disk names, read once; tiles that only the text names are not read, and that is said.
    fn ground(
        &self,
        file: &str,
        on_disk: &Checked,
        typed: &Checked,
    ) -> Result<(Option<Arc<Terrain>>, Option<Problem>), Failure> {
        let named = |checked: &Checked| checked.design.surroundings.ground.terrain.clone();
        let wanted = named(typed);
        if wanted.is_empty() {
            return Ok((None, None));
        }
        if wanted != named(on_disk) {
            return Ok((None, Some(typed.terrain_not_read())));
        }
        if let Some((_, ground)) = self.kept_of(file).ground.filter(|(names, _)| *names == wanted) {
            return Ok((Some(ground), None));
        }
        let Some(ground) = on_disk.terrain()?.map(Arc::new) else { return Ok((None, None)) };
        self.kept().entry(file.to_owned()).or_default().ground = Some((wanted, Arc::clone(&ground)));
        Ok((Some(ground), None))
    }

    /// The tables of a design; of the text before it those that are the same are taken over.
    fn prepared(&self, file: &str, draft: &Draft) -> Arc<Prepared> {
        let (design, spots) = (&draft.checked.design, &draft.before.reach.spots);
        let before = self.kept_of(file).prepared;
        let before = before.filter(|known| known.design().climate == design.climate);
        let prepared = Arc::new(match before {
            Some(known) => known.of_variant(design, draft.weather(), Some(spots)),
            None => Prepared::new(design, draft.weather(), spots, SEED),
        });
        self.kept().entry(file.to_owned()).or_default().prepared = Some(Arc::clone(&prepared));
        prepared
    }
}

/// The first lives of a design whose tables are made.
pub(super) fn first_lives(prepared: &Prepared, weather: Weather<'_>, question: &Question) -> LifeInBrief {
    let patience = Patience::new(question, Some(Instant::now() + FIRST_LIVES_FOR));
    LifeInBrief::of_prepared(prepared, weather, Draft::effort(FIRST_LIVES), &patience)
}

impl Draft {
    fn weather(&self) -> Weather<'_> {
        Weather::Climate(&self.climate)
    }

    fn effort(lives: usize) -> Effort {
        Effort { lives: Some(lives), seed: SEED, threads: available_parallelism().map_or(1, Into::into) }
    }

    fn at_once(&self) -> DesignAnswer {
        let verdicts = report::html::first_verdict_rows(&self.before, None, &self.checked.design.promise);
        let title = match self.before.verdict() {
            Verdict::Fails => self.title(Verdict::Fails),
            _ => format!("{}: its lives are being lived", self.checked.design.name),
        };
        DesignAnswer { title, problems: self.problems.clone(), verdicts, lives: 0 }
    }

    fn with_first_lives(&self, prepared: &Prepared, patience: &Patience<'_>) -> DesignAnswer {
        let effort = Self::effort(FIRST_LIVES);
        let life = LifeInBrief::of_prepared(prepared, self.weather(), effort, patience);
        let promise = &self.checked.design.promise;
        let verdicts = report::html::first_verdict_rows(&self.before, Some(&life), promise);
        let verdict = Verdict::worst([life.verdict, self.before.verdict()]).unwrap_or(Verdict::NotKnown);
        let problems = self.problems_and(&life.findings);
        DesignAnswer { title: self.title(verdict), problems, lives: life.lives, verdicts }
    }

    fn whole(&self, prepared: &Prepared, patience: &Patience<'_>) -> DesignAnswer {
        let answer = self.before.clone().with_life(prepared, self.weather(), Self::effort(LIVES), patience);
        let (verdict, plan) = (answer.verdict(), answer.life.clone());
        let subject = subject(&self.checked.design, answer, &self.climate);
        let lives = plan.chances.as_ref().map_or(0, |chances| chances.lives);
        let verdicts = report::html::verdict_rows(&subject, &plan);
        let problems = self.problems_and(&plan.findings);
        DesignAnswer { title: self.title(verdict), problems, lives, verdicts }
    }

    fn problems_and(&self, findings: &[Finding]) -> Vec<TextProblem> {
        let found = findings.iter().filter_map(|one| warning(&self.text, &self.checked, one));
        self.problems.iter().cloned().chain(found).collect()
    }

    fn title(&self, verdict: Verdict) -> String {
        let fate = match verdict {
            Verdict::Holds => "holds",
            Verdict::Tight => "is in doubt",
            Verdict::Fails => "does not hold",
            Verdict::NotKnown => "cannot be judged",
        };
        format!("{} {fate}", self.checked.design.name)
    }
}

/// The answer to a text with mistakes.
fn mistaken(text: &str, failure: &Failure) -> DesignAnswer {
    let problems: Vec<TextProblem> = failure.problems.iter().map(|one| problem(text, one)).collect();
    let errors = problems.iter().filter(|one| !one.is_warning).count();
    let stand = if errors == 1 { "stands" } else { "stand" };
    let title = format!("{} {stand} in the way of an answer", report::words::count(errors, "error"));
    DesignAnswer { title, problems, ..DesignAnswer::default() }
}

/// What stands in a part file has no place in the text.
fn problem(text: &str, found: &Problem) -> TextProblem {
    let span = found.span.clone().filter(|_| found.source.text() == text);
    placed(text, span.as_ref(), found.warning, &found.message, &found.help)
}

/// What weakens a verdict, at the key that it is about.
fn warning(text: &str, checked: &Checked, found: &Finding) -> Option<TextProblem> {
    let is_shown = found.severity >= Severity::Warning;
    is_shown.then(|| placed(text, Some(&checked.span_of(&found.field)), true, &found.message, &found.help))
}

fn placed(
    text: &str,
    span: Option<&std::ops::Range<usize>>,
    is_warning: bool,
    message: &str,
    help: &str,
) -> TextProblem {
    let units = |byte: usize| text.get(..byte).map_or(0, |before| before.encode_utf16().count());
    let line = span.filter(|span| !span.is_empty()).and_then(|span| text.get(..span.start));
    let (from, to) = span.map_or((0, 0), |span| (units(span.start), units(span.end)));
    TextProblem {
        is_warning,
        line: line.map(|before| before.matches('\n').count() + 1),
        from,
        to,
        message: message.to_owned(),
        help: help.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    fn mast() -> Checked {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/larkmoor/frost-mast.toml");
        input::design(&file).expect("it is without mistakes")
    }

    /// By hand: "# °\n" is 4 characters, of which the degree sign takes two bytes and one UTF-16 unit.
    #[test]
    fn a_problem_stands_where_a_browser_counts() {
        let typing = Typing::default();
        let question = typing.question("");
        let answer = typing.said(("mast.toml", &mast()), "# °\nschema = 2\n", Step::AtOnce, &question);
        let problem = answer.problems.iter().find(|one| one.line == Some(2)).expect("the schema is wrong");
        assert!(problem.from >= 4 && problem.to <= 14, "{problem:?}");
    }

    #[test]
    fn work_for_an_older_text_ends_and_so_does_work_for_one_who_has_gone() {
        let typing = Typing::default();
        let first = typing.question("a");
        let waiting = first.waiting();
        assert!(!first.is_stale());
        let (second, other) = (typing.question("a"), typing.question("b"));
        assert!(first.is_stale() && !second.is_stale() && !other.is_stale());
        drop(waiting);
        assert!(!second.is_stale(), "who waited for the older answer takes the newer one from nobody");
        drop(second.waiting());
        assert!(second.is_stale() && !other.is_stale());
        let mast = mast();
        let answer = typing.said(("mast.toml", &mast), mast.text(), Step::Whole, &second);
        assert_eq!(answer.lives, 0, "nothing is lived for nobody");
    }

    #[test]
    fn many_browsers_are_forgotten_but_never_the_one_that_asks() {
        let typing = Typing::default();
        let first = typing.question("0");
        for by in 1..MOST_TYPING {
            let _asked = typing.question(&by.to_string());
        }
        let _again = typing.question("0");
        assert!(first.is_stale(), "all are remembered, so its older question is known");
    }

    /// What a text takes over from the one before changes nothing of what is said of it.
    #[test]
    fn a_text_is_answered_as_if_nothing_had_been_typed_before() {
        let mast = mast();
        let larger = mast.text().replace("capacity = \"2000 mAh\"", "capacity = \"2600 mAh\"");
        let turned = larger.replace("tilt = \"60 deg\"", "tilt = \"30 deg\"");
        assert!(larger != mast.text() && turned != larger);
        let said = |typing: &Typing, text: &str| {
            let draft = typing.draft("mast.toml", &mast, text).expect("it has no mistakes");
            let question = typing.question("");
            // As many lives as are wanted, however long they take.
            let patience = Patience::new(&question, None);
            draft.with_first_lives(&typing.prepared("mast.toml", &draft), &patience)
        };
        let used = Typing::default();
        let answers = [mast.text(), &larger, &turned, &larger].map(|text| {
            let answer = said(&used, text);
            assert_eq!(answer, said(&Typing::default(), text));
            answer
        });
        assert!(answers[0] != answers[1] && answers[1] == answers[3], "another battery lives otherwise");
    }

    /// A tile is read only where the file on the disk names it, so that nobody who types reads files.
    #[test]
    fn terrain_that_only_the_text_names_is_not_read_and_that_is_said() {
        let mast = mast();
        let text = mast.text().replace("[ground]", "[ground]\nterrain = [\"/etc/hostname\"]");
        let typing = Typing::default();
        let answer = typing.said(("mast.toml", &mast), &text, Step::AtOnce, &typing.question(""));
        let said = answer.problems.iter().find(|one| one.message.contains("not those of the file"));
        assert!(said.is_some_and(|one| one.is_warning && one.line.is_some()), "{:?}", answer.problems);
    }
}
