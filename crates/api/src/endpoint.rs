//! Each question once: where it is asked, with what, and what is answered.

/// Where the questions begin.
pub const ROOT: &str = "/api/v1";
/// Where their description is.
pub const DESCRIPTION: &str = "/api/openapi.json";

/// A question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Endpoint {
    /// Who asks.
    Me,
    /// All nodes.
    Nodes,
    /// One node.
    Node,
    /// A field over time.
    Series,
    /// Frames in the order of keeping.
    Frames,
    /// All gateways.
    Gateways,
    /// Visits.
    Visits,
    /// A visit is noted.
    NoteVisit,
    /// Alarms.
    Alarms,
    /// An alarm is marked as seen.
    SeeAlarm,
    /// What nodes were to be told.
    Settings,
    /// Nodes are to be told something.
    Set,
    /// Readings as comma-separated rows.
    ExportCsv,
    /// Readings as sensor measurement lists.
    ExportSenml,
    /// Places of readings.
    ExportGeojson,
    /// Tracks.
    ExportGpx,
}

/// How it is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// It looks.
    Get,
    /// It changes something.
    Post,
}

/// Something that is given with a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parameter {
    /// Its name.
    pub name: &'static str,
    /// What it is.
    pub about: &'static str,
    /// Where it stands.
    pub place: Place,
    /// What it is written as.
    pub form: Form,
}

/// Where a parameter stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// In the path, always.
    Path,
    /// In the query, always.
    Needed,
    /// In the query, if at all.
    Optional,
}

/// What a parameter is written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Any text.
    Text,
    /// A whole number.
    Number,
    /// RFC 3339 with its zone.
    Time,
}

/// What is sent or answered: the name of a shape, or a media type.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Content {
    /// A shape of [`crate::shape`] as JSON.
    Shape(&'static str),
    /// Something else.
    Media(&'static str),
}

impl Endpoint {
    /// All of them.
    pub const ALL: [Self; 16] = [
        Self::Me,
        Self::Nodes,
        Self::Node,
        Self::Series,
        Self::Frames,
        Self::Gateways,
        Self::Visits,
        Self::NoteVisit,
        Self::Alarms,
        Self::SeeAlarm,
        Self::Settings,
        Self::Set,
        Self::ExportCsv,
        Self::ExportSenml,
        Self::ExportGeojson,
        Self::ExportGpx,
    ];

    /// Its path below [`ROOT`].
    pub const fn path(self) -> &'static str {
        match self {
            Self::Me => "/me",
            Self::Nodes => "/nodes",
            Self::Node => "/nodes/{name}",
            Self::Series => "/nodes/{name}/readings",
            Self::Frames => "/frames",
            Self::Gateways => "/gateways",
            Self::Visits | Self::NoteVisit => "/visits",
            Self::Alarms => "/alarms",
            Self::SeeAlarm => "/alarms/{id}/seen",
            Self::Settings | Self::Set => "/settings",
            Self::ExportCsv => "/export.csv",
            Self::ExportSenml => "/export.senml.json",
            Self::ExportGeojson => "/export.geojson",
            Self::ExportGpx => "/export.gpx",
        }
    }

    /// How it is asked.
    pub const fn method(self) -> Method {
        match self {
            Self::NoteVisit | Self::SeeAlarm | Self::Set => Method::Post,
            _ => Method::Get,
        }
    }

    /// What it is called in the description.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Me => "me",
            Self::Nodes => "nodes",
            Self::Node => "node",
            Self::Series => "readings",
            Self::Frames => "frames",
            Self::Gateways => "gateways",
            Self::Visits => "visits",
            Self::NoteVisit => "note_visit",
            Self::Alarms => "alarms",
            Self::SeeAlarm => "see_alarm",
            Self::Settings => "settings",
            Self::Set => "set",
            Self::ExportCsv => "export_csv",
            Self::ExportSenml => "export_senml",
            Self::ExportGeojson => "export_geojson",
            Self::ExportGpx => "export_gpx",
        }
    }

    /// What it is for, in a sentence.
    pub const fn about(self) -> &'static str {
        match self {
            Self::Me => "Who asks, and what they may",
            Self::Nodes => "All nodes by name",
            Self::Node => "One node",
            Self::Series => "A field over time: least, mean and greatest of each column",
            Self::Frames => "Frames after a number, in the order of keeping, with what they say",
            Self::Gateways => "All gateways",
            Self::Visits => "Visits, the newest first",
            Self::NoteVisit => "Notes a visit; needs a person who may act",
            Self::Alarms => "Alarms: those that stand open, and those that were closed",
            Self::SeeAlarm => {
                "Marks an alarm as seen, by whom and with a word; needs a person who may act. Who saw it first stays"
            }
            Self::Settings => "What nodes were to be told, and what became of it, the newest first",
            Self::Set => {
                "Has nodes told something with one of their next uplinks; needs a person who may act"
            }
            Self::ExportCsv => {
                "Readings of one message of one kind of node as comma-separated rows (RFC 4180)"
            }
            Self::ExportSenml => "Readings as sensor measurement lists (RFC 8428)",
            Self::ExportGeojson => "Points where readings were taken (RFC 7946)",
            Self::ExportGpx => "Tracks of nodes that know where they are (GPX 1.1)",
        }
    }

    /// What is given with it.
    pub const fn parameters(self) -> &'static [Parameter] {
        match self {
            Self::Me | Self::Nodes | Self::Gateways | Self::NoteVisit | Self::Set => &[],
            Self::Alarms => &[BEFORE],
            Self::SeeAlarm => &[ALARM],
            Self::Node => &[NAME],
            Self::Series => &[NAME, MESSAGE, FIELD, FROM, TO, COLUMNS],
            Self::Frames => &[AFTER, VERDICT, LIMIT],
            Self::Visits | Self::Settings => &[NODE],
            Self::ExportCsv => &[KIND, MESSAGE, FROM, TO, NODE],
            Self::ExportSenml | Self::ExportGeojson | Self::ExportGpx => &[FROM, TO, NODE],
        }
    }

    /// What is sent with it.
    pub const fn sends(self) -> Option<&'static str> {
        match self {
            Self::NoteVisit => Some("NewVisit"),
            Self::SeeAlarm => Some("NewSeen"),
            Self::Set => Some("NewSetting"),
            _ => None,
        }
    }

    /// What is answered if all is well.
    pub const fn answers(self) -> Content {
        match self {
            Self::Me => Content::Shape("Me"),
            Self::Nodes => Content::Shape("Nodes"),
            Self::Node => Content::Shape("Node"),
            Self::Series => Content::Shape("Series"),
            Self::Frames => Content::Shape("Frames"),
            Self::Gateways => Content::Shape("Gateways"),
            Self::Visits => Content::Shape("Visits"),
            Self::NoteVisit => Content::Shape("VisitNoted"),
            Self::Alarms => Content::Shape("Alarms"),
            Self::SeeAlarm => Content::Shape("Alarm"),
            Self::Settings => Content::Shape("Settings"),
            Self::Set => Content::Shape("Wanted"),
            Self::ExportCsv => Content::Media("text/csv"),
            Self::ExportSenml => Content::Media("application/senml+json"),
            Self::ExportGeojson => Content::Media("application/geo+json"),
            Self::ExportGpx => Content::Media("application/gpx+xml"),
        }
    }
}

const fn text(name: &'static str, about: &'static str, place: Place) -> Parameter {
    Parameter { name, about, place, form: Form::Text }
}

const NAME: Parameter = text("name", "What people call the node", Place::Path);
const MESSAGE: Parameter = text("message", "The message's key in the design", Place::Needed);
const FIELD: Parameter = text("field", "The field's key in the design", Place::Needed);
const KIND: Parameter = text("kind", "Name of the design", Place::Needed);
const NODE: Parameter = text("node", "Of this node alone", Place::Optional);
const VERDICT: Parameter = text("verdict", "Frames of this verdict alone", Place::Optional);
const ALARM: Parameter =
    Parameter { name: "id", about: "The number of the alarm", place: Place::Path, form: Form::Number };
const BEFORE: Parameter = Parameter {
    name: "before",
    about: "Closed ones of smaller numbers alone",
    place: Place::Optional,
    form: Form::Number,
};
const FROM: Parameter = Parameter {
    name: "from",
    about: "Since when. Left out: 30 days before `to`",
    place: Place::Optional,
    form: Form::Time,
};
const TO: Parameter =
    Parameter { name: "to", about: "Until when. Left out: now", place: Place::Optional, form: Form::Time };
const COLUMNS: Parameter = Parameter {
    name: "columns",
    about: "At most so many columns, 1 to 5,000. Left out: 1,000. Columns of an hour and more begin with an hour, of a day and more with a day of UTC",
    place: Place::Optional,
    form: Form::Number,
};
const AFTER: Parameter = Parameter {
    name: "after",
    about: "The number of the frame after which to begin. Left out: 0",
    place: Place::Optional,
    form: Form::Number,
};
const LIMIT: Parameter = Parameter {
    name: "limit",
    about: "At most so many, 1 to 1,000. Left out: 100",
    place: Place::Optional,
    form: Form::Number,
};
