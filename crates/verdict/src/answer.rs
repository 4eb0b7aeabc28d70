//! The answer: every verdict on a design in its surroundings, from one road.

use design::node::Design;
use forecast::Progress;
use forecast::life::prepared::Prepared;
use forecast::radio::collisions::Sender;
use forecast::terrain::Terrain;

use crate::finding::{Finding, Verdict};
use crate::law::{self, LawPlan};
use crate::message::{self, Learnable, MessageView};
use crate::plan::{self, Effort, Plan, Weather, affordable};
use crate::reach::{self, Reach};

/// What surrounds a node, beside what its design says.
#[derive(Clone, Copy, Debug)]
pub struct Environment<'a> {
    /// The weather that it lives in.
    pub weather: Weather<'a>,
    /// The ground between it and its gateways, if it is known.
    pub terrain: Option<&'a Terrain>,
    /// Others who send to the same gateways.
    pub others: &'a [Sender],
}

/// A question that is asked of every design.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// Will it live?
    Life,
    /// Is it lawful?
    Law,
    /// Will it be heard?
    Reach,
    /// Does the message fit?
    Message,
}

/// All verdicts on a design, and what they rest on.
#[derive(Clone, Debug)]
pub struct Answer {
    /// Will it live?
    pub life: Plan,
    /// Is it lawful?
    pub law: LawPlan,
    /// Will it be heard?
    pub reach: Reach,
    /// Each message at each data rate.
    pub messages: Vec<MessageView>,
    /// What can be learned of the node from what it is designed to send; `None` if no message is designed.
    pub learnable: Option<Learnable>,
}

/// What is said of a design before any of its lives is lived.
#[derive(Clone, Debug)]
pub struct BeforeLife {
    /// Is it lawful?
    pub law: LawPlan,
    /// Will it be heard?
    pub reach: Reach,
    /// Each message at each data rate.
    pub messages: Vec<MessageView>,
    /// What can be learned of the node from what it is designed to send; `None` if no message is designed.
    pub learnable: Option<Learnable>,
}

impl BeforeLife {
    /// Answers the questions that hang on no life: law, reach and message. `terrain` and `others` are those of
    /// [`Environment`], `seed` that of [`Effort`].
    #[must_use]
    pub fn of(design: &Design, terrain: Option<&Terrain>, others: &[Sender], seed: u64) -> Self {
        let reach = reach::judge(design, terrain, others, seed);
        let link = reach.spots.middle_state();
        let law = law::judge(design, link);
        let messages = message::view(design, link);
        let learnable = message::learnable(design, link);
        Self { law, reach, messages, learnable }
    }

    /// The worst verdict so far.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        let verdicts = [self.law.verdict, self.reach.verdict, message::verdict(&self.law)];
        Verdict::worst(verdicts).unwrap_or(Verdict::NotKnown)
    }

    /// The whole answer: lives the lives of the same design, whose tables are made. Asked to stop, it gives the answer so
    /// far, in which fewer lives were lived than wanted.
    #[must_use]
    pub fn with_life(
        self,
        prepared: &Prepared,
        weather: Weather<'_>,
        effort: Effort,
        progress: &dyn Progress,
    ) -> Answer {
        let Self { mut law, reach, messages, learnable } = self;
        let life = plan::of_prepared(prepared, weather, effort, progress);
        affordable(prepared.design(), reach.spots.middle_state(), &life, &mut law);
        Answer { life, law, reach, messages, learnable }
    }
}

/// Answers every question about a design. Asked to stop, it gives the answer so far, in which fewer lives were lived than
/// wanted.
#[must_use]
pub fn answer(
    design: &Design,
    environment: &Environment<'_>,
    effort: Effort,
    progress: &dyn Progress,
) -> Answer {
    let &Environment { weather, terrain, others } = environment;
    let before = BeforeLife::of(design, terrain, others, effort.seed);
    let prepared = Prepared::new(design, weather, &before.reach.spots, effort.seed);
    before.with_life(&prepared, weather, effort, progress)
}

impl Answer {
    /// Each question with its verdict.
    #[must_use]
    pub fn verdicts(&self) -> [(Question, Verdict); 4] {
        [
            (Question::Life, self.life.verdict),
            (Question::Law, self.law.verdict),
            (Question::Reach, self.reach.verdict),
            (Question::Message, message::verdict(&self.law)),
        ]
    }

    /// The worst of them.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        Verdict::worst(self.verdicts().map(|(_, verdict)| verdict)).unwrap_or(Verdict::NotKnown)
    }

    fn not_learnable(&self) -> Option<&Finding> {
        self.learnable.as_ref()?.finding.as_ref()
    }

    /// What wants attention, of all questions.
    pub fn findings(&self) -> impl Iterator<Item = &Finding> {
        self.life
            .findings
            .iter()
            .chain(&self.law.findings)
            .chain(&self.reach.findings)
            .chain(self.not_learnable())
    }
}
