//! What is wrong with a design file: one [`Diagnostic`] for each problem, and the [`CODES`] that explain them.

use std::ops::Range;

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The design can't be used.
    Error,
    /// The design can be used, but probably says something that was not meant.
    Warning,
}

/// One problem of a design file or part file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// How bad it is.
    pub severity: Severity,
    /// Name of its entry in [`CODES`].
    pub code: &'static str,
    /// The part file it is in; `None` for the design file.
    pub file: Option<String>,
    /// Bytes of that file's text to point at.
    pub span: Range<usize>,
    /// What is wrong.
    pub message: String,
    /// What to write instead.
    pub help: String,
}

/// A kind of problem, as the manual explains it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Code {
    /// What diagnostics carry.
    pub name: &'static str,
    /// A line.
    pub title: &'static str,
    /// A paragraph.
    pub explanation: &'static str,
    /// What leads to it.
    pub example: &'static str,
}

/// Where diagnostics are collected.
#[derive(Debug, Default)]
pub(crate) struct Diagnostics {
    list: Vec<Diagnostic>,
    file: Option<String>,
}

/// Warns of a name that has another one now.
pub(crate) fn warn_of_old_name(old: &str, new: &str, span: &Range<usize>, found: &mut Diagnostics) {
    found.warning(OLD_NAME, span, format!("`{old}` is called `{new}` now"), format!("write \"{new}\""));
}

impl Diagnostics {
    /// An empty list for the part file of this name, or for the design file.
    pub(crate) fn of_file(file: Option<&str>) -> Self {
        Self { list: Vec::new(), file: file.map(str::to_owned) }
    }

    /// Notes an error.
    pub(crate) fn error(
        &mut self,
        code: Code,
        span: &Range<usize>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        self.push(Severity::Error, code, span, message.into(), help.into());
    }

    /// Notes a warning.
    pub(crate) fn warning(
        &mut self,
        code: Code,
        span: &Range<usize>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        self.push(Severity::Warning, code, span, message.into(), help.into());
    }

    fn push(&mut self, severity: Severity, code: Code, span: &Range<usize>, message: String, help: String) {
        let (file, span) = (self.file.clone(), span.clone());
        self.list.push(Diagnostic { severity, code: code.name, file, span, message, help });
    }

    /// Takes over what was found elsewhere.
    pub(crate) fn append(&mut self, found: impl IntoIterator<Item = Diagnostic>) {
        self.list.extend(found);
    }

    /// Whether it has an error.
    pub(crate) fn has_errors(&self) -> bool {
        self.list.iter().any(|one| one.severity == Severity::Error)
    }

    /// The list in the order of the text, the design file first, and nothing twice: a part file that is used twice is
    /// read twice.
    pub(crate) fn into_sorted(self) -> Vec<Diagnostic> {
        let mut list = self.list;
        list.sort_by(|a, b| key(a).cmp(&key(b)));
        list.dedup();
        list
    }
}

fn key(one: &Diagnostic) -> (Option<&str>, usize, Severity, &str, &str) {
    (one.file.as_deref(), one.span.start, one.severity, one.code, &one.message)
}

/// The written word or key nearest to what was meant, if any is near enough to suggest.
pub(crate) fn nearest<'a>(written: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let written: Vec<char> = written.chars().take(64).flat_map(char::to_lowercase).collect();
    let allowed = (written.len() / 3).clamp(1, 4);
    known
        .into_iter()
        .map(|word| {
            (edit_distance(&written, &word.chars().flat_map(char::to_lowercase).collect::<Vec<_>>()), word)
        })
        .filter(|(distance, _)| *distance <= allowed)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, word)| word)
}

/// The word of the list that is nearest to what was written, however far; of equals the first.
pub(crate) fn closest<'a>(written: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let written: Vec<char> = written.chars().take(64).collect();
    known.into_iter().min_by_key(|word| edit_distance(&written, &word.chars().collect::<Vec<_>>()))
}

/// Edits (insert, remove, replace, swap of neighbours) between two words.
///
/// # References
/// Damerau, Commun. ACM 7(3), 1964, 171-176 (optimal string alignment).
fn edit_distance(a: &[char], b: &[char]) -> usize {
    let mut rows = vec![vec![0; b.len() + 1]; a.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    rows[0] = (0..=b.len()).collect();
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let replaced = rows[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut best = replaced.min(rows[i - 1][j] + 1).min(rows[i][j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                best = best.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = best;
        }
    }
    rows[a.len()][b.len()]
}

macro_rules! codes {
    ($($id:ident $name:literal $title:literal $explanation:literal $example:literal)+) => {
        $(
            #[doc = $title]
            pub const $id: Code = Code { name: $name, title: $title, explanation: $explanation, example: $example };
        )+
        /// Every kind of problem, in the order of the manual.
        pub const CODES: &[Code] = &[$($id),+];
    };
}

codes! {
    SYNTAX "syntax" "the text is not TOML"
        "The file could not be read as TOML at this place: a quote or bracket is missing, a key appears twice, or tables are nested too deeply."
        "name = \"Frost mast"
    TOO_LARGE "too-large" "the file is too large"
        "A design file holds a few kilobytes. More than 256 kB is taken for another kind of file and not read."
        "a weather file given as design file"
    TOO_MANY "too-many" "too many tables or entries"
        "At most 1,000 tables stand in one place and 1,000 entries in one list; no node and no site has more."
        "a site with 5,000 nodes"
    SCHEMA_VERSION "schema-version" "the edition of the format is not known"
        "`schema` says which edition of the format the file is written in. This program reads edition 1."
        "schema = 2"
    UNKNOWN_KEY "unknown-key" "the key is not known here"
        "Keys that are not part of the format are refused, so that a misspelt key can't be ignored silently."
        "latitud = \"46.5 deg\""
    MISSING_KEY "missing-key" "a key is missing"
        "The key is needed and neither the design file nor the part named there gives it."
        "[site] without latitude"
    ONE_OF "one-of" "exactly one of several keys is wanted"
        "The keys exclude each other, or at least one of them is needed."
        "every and every_by_charge in one activity"
    WRONG_TYPE "wrong-type" "the value has the wrong form"
        "A text, number, list or table was found where another form is wanted."
        "battery = \"nmc-18650\""
    BARE_NUMBER "bare-number" "a number without a unit"
        "A physical quantity is written as text with its unit. A bare number could be milliamperes or microamperes."
        "floor = 4"
    NUMBER "number" "not a number"
        "The text does not begin with a number. The decimal sign is a point."
        "floor = \"4,2 uA\""
    NOT_FINITE "not-finite" "the number is too large"
        "The number can't be represented."
        "elevation = \"1e999 m\""
    MISSING_UNIT "missing-unit" "the unit is missing"
        "The text holds a number but no unit."
        "floor = \"4\""
    UNKNOWN_UNIT "unknown-unit" "the unit is not known"
        "Units are case-sensitive: `mAh` is a charge, `mah` is nothing."
        "capacity = \"2600 mah\""
    WRONG_QUANTITY "wrong-quantity" "the unit belongs to another quantity"
        "The unit is known, but measures something else than what is wanted here."
        "floor = \"4 uAh\""
    TOLERANCE "tolerance" "the tolerance can't be used"
        "After `+-` (or `±`) stands one standard deviation, in percent of the value or in its own unit, from 0 to 300 % of the value. On temperatures and decibels a percentage means nothing; on a share the tolerance is in percentage points."
        "capacity = \"2600 mAh +- 400 %\""
    TOLERANCE_UNUSED "tolerance-unused" "the tolerance is not used"
        "No simulated life varies this quantity, so the tolerance has no effect."
        "tilt = \"60 deg +- 5 deg\""
    UNKNOWN_WORD "unknown-word" "the word is not one of those allowed"
        "Only certain words are allowed here; the message lists them."
        "chemistry = \"nmk\""
    TEXT "text" "the text can't be used"
        "Names and remarks are one line of at most 200 characters without control characters; names of loads, activities and regulators are not empty."
        "name = \"\""
    NOT_POSITIVE "not-positive" "the value must be above zero"
        "A capacity, current or time of zero or less makes no sense here."
        "capacity = \"-2600 mAh\""
    NEGATIVE "negative" "the value must not be negative"
        "The value may be zero but not less."
        "leakage = \"-1 uA\""
    SHARE_RANGE "share-range" "the share is outside its range"
        "A share of a whole lies between 0 % and 100 %; some shares are limited further, as the message says."
        "albedo = \"120 %\""
    OUT_OF_RANGE "out-of-range" "the value is outside its range"
        "The message says which range is allowed."
        "payload = \"300 bytes\""
    UNUSUAL "unusual" "the value is unusual"
        "The value is possible, but parts and designs of this kind rarely have it: most often the unit is wrong or a digit too many. If it is right, nothing needs to be done."
        "power = \"150 W\" for a panel"
    UNATTENDED "unattended" "the promised span is outside what is simulated"
        "A node is promised to live from a week to 50 years without a visit."
        "unattended = \"100 years\""
    LATITUDE "latitude" "the latitude is outside -90 to 90 degrees"
        "Latitude is counted from the equator, north positive."
        "latitude = \"95 deg\""
    LONGITUDE "longitude" "the longitude is outside -180 to 180 degrees"
        "Longitude is counted from Greenwich, east positive."
        "longitude = \"-190 deg\""
    TILT "tilt" "the tilt is outside 0 to 90 degrees"
        "0 degrees lies flat, 90 degrees stands upright. A panel that leans further faces the ground; turn its azimuth instead."
        "tilt = \"140 deg\""
    AZIMUTH "azimuth" "the azimuth is outside 0 to 360 degrees"
        "Azimuth is counted clockwise from north: 90 degrees is east, 180 degrees south; 360 degrees is written 0 degrees."
        "azimuth = \"-30 deg\""
    HORIZON "horizon" "the horizon is not usable"
        "A horizon is a list of pairs [azimuth, height]: azimuths ascend from 0 to below 360 degrees, heights lie between 0 and 90 degrees."
        "horizon = [[\"90 deg\", \"4 deg\"], [\"80 deg\", \"2 deg\"]]"
    HORIZON_CLOSED "horizon-closed" "the skyline closes the sky"
        "The sun never rises above a skyline that is everywhere higher than the sun of midsummer: the panel gets no beam at all, and little else."
        "horizon = [[\"0 deg\", \"89 deg\"]]"
    LEAF "leaf" "half of a skyline in leaf"
        "A skyline in leaf needs the months in which it holds, and the months a skyline."
        "months_in_leaf = [5, 6, 7]"
    SNOW_DAYS "snow-days" "the days of snow are not usable"
        "Twelve numbers, January first, none below 0 or above the days of its month."
        "snow_days = [40, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]"
    MONTHLY "monthly" "a figure for each month is wanted"
        "Sun and temperature of the months are lists of twelve, January first."
        "sun = [\"1.0 kWh/m2\", \"1.9 kWh/m2\"]"
    DATE "date" "there is no such day"
        "A day of the year is written as text `MM-DD`."
        "from = \"02-31\""
    MONTH "month" "there is no such month"
        "Months are numbers from 1 (January) to 12, each named once."
        "months = [13]"
    HOURS "hours" "the hours are not usable"
        "Hours are a pair [from, to] of whole numbers from 0 to 24; the last hour is not included, and a pair may wrap over midnight."
        "hours = [6, 25]"
    PROMISE_SHARE "promise-share" "the promised share can't be shown"
        "No number of simulated lives can show that nothing ever fails. 99.9 % already takes 10000 lives."
        "without_outage = \"100 %\""
    TIME_ZONE "time-zone" "there is no such time zone"
        "Time zones are named as in the IANA database: a continent and a city, or `UTC`. Abbreviations are not unique."
        "time_zone = \"Europe/Dubln\""
    ADDRESS "address" "the address can't be used"
        "An address to listen on has numbers and a port. What travels beyond this machine is sealed: `mqtts` and `https`, and a certificate for the page. Names and passwords stand in files of their own, never in an address."
        "udp = \"localhost\""
    LIMIT "limit" "the rule or way of telling can't be used"
        "A limit is a number with the unit of its field. An alarm closes at another value than it opens at, on the good side, so that it does not open and close with every breath. Urgencies are `note`, `this week` and `act now`; times of the day are written as `22:00-06:00`."
        "again_at = \"0.5 Cel\""
    EUI "eui" "the identity can't be used"
        "A gateway has an EUI-64: 16 hex digits, most significant first, and no two gateways have the same."
        "eui = \"020000FFFE\""
    SURVEY "survey" "the finding of a survey can't be used"
        "What a survey found is a correction of a prediction with its standard deviation. The prediction hangs on the side of a wall on which the gateway is, and on that of a node that was surveyed itself; and a survey can't have been at a node that the site has not."
        "correction = \"-9 dB\""
    MAY_STAND "may-stand" "a place for a gateway has the name of a gateway"
        "Where a gateway may stand is named as it would be called there; no gateway and no other place has that name."
        "[may_stand.roof] beside [gateway.roof]"
    POINTER "pointer" "no place in a message"
        "Places in a JSON message are written as RFC 6901 says: `/who/id` is `id` inside `who`, `/heard/0` the first of a list; `~1` stands for `/` in a name, `~0` for `~`. `topic:2` and `path:2` are the second level of what the message was sent to."
        "device = \"who.id\""
    UNKNOWN_PART "unknown-part" "the catalogue has no such part"
        "`part` names an entry of the catalogue, or a part file of your own by a path that ends in `.toml`."
        "part = \"nmc-18560\""
    OLD_NAME "old-name" "a name that has changed"
        "Parts and words that were renamed keep their old names in old files. Write the new one when you next change the file."
        "part = \"linear-nano\""
    PART_FILE_MISSING "part-file-missing" "the part file was not read"
        "The part file named here could not be opened. Its path counts from the folder of the design file."
        "part = \"my-cell.toml\""
    PART_FILE "part-file" "the part file is not complete"
        "A part file begins with `title` and `source`, does not name another part, and lists in `from_memory` only keys that it has."
        "a part file without source"
    CURVE_ORDER "curve-order" "the curve does not ascend"
        "The left column of a curve ascends strictly; an open-circuit voltage ascends with the charge as well."
        "open_circuit = [[\"50 %\", \"3.7 V\"], [\"0 %\", \"3.0 V\"]]"
    CURVE_ENDS "curve-ends" "the curve does not reach from 0 % to 100 %"
        "Open-circuit voltage is given from 0 % to 100 % of the charge, at least at both ends; other curves have at least one row and no charge outside that range."
        "open_circuit = [[\"10 %\", \"3.4 V\"], [\"100 %\", \"4.2 V\"]]"
    BATTERY_VOLTAGES "battery-voltages" "the battery's voltages contradict each other"
        "The charge limit lies above the voltage of an empty battery, and the empty battery's voltage lies below that of a full one; the coldest charging temperature lies below the hottest."
        "charge_limit = \"2.5 V\""
    CHEMISTRY_LIMIT "chemistry-limit" "no cell of this chemistry is like that"
        "A cell of a chemistry has its voltages whatever its make. A charge limit above that of every such cell would switch off the check against overcharge, and a lithium cell that is overcharged can burn. The bounds stand in `crates/design/data/chemistries.toml`."
        "charge_limit = \"12 V\" with chemistry = \"nmc\""
    GATE "gate" "the temperature gate is not usable"
        "The bands of a temperature gate ascend, do not overlap, and each ends above its beginning."
        "temperature_gate = [{ from = \"45 C\", to = \"0 C\", current = \"100 %\" }]"
    PANEL_POINTS "panel-points" "the panel's points contradict each other"
        "The best point lies below open-circuit voltage and short-circuit current, and its power is that of the label within a third."
        "best_voltage = \"8 V\""
    PANEL_CURVE "panel-curve" "no solar cell has these figures"
        "A curve of a solar cell goes through open circuit, short circuit and the best point, has its greatest power there, leaves room for the shunt, and its voltage falls as it warms. The message names the figures that can't be true together."
        "shunt = \"400 ohm\" on a panel whose best current is 179 mA of 180 mA"
    PANEL_LABEL_ONLY "panel-label-only" "only the label of the panel is known"
        "Voltages and currents of a generic panel of the 6 V class are used with a tolerance of 20 %. Cheap panels often give less than their label."
        "[panel] with power alone"
    PANEL_AWAY "panel-away" "the panel faces away from the sun"
        "Outside the tropics the sun stands in the south at noon north of the equator, in the north south of it. A steep panel that faces the other half of the sky gets only scattered light in winter."
        "azimuth = \"0 deg\" at 47 degrees north"
    PANEL_WITHOUT_CHARGER "panel-without-charger" "there is a panel but no charger"
        "A panel needs something between itself and the battery, if only a diode (`kind = \"direct\"`)."
        "[panel] without [charger]"
    CHARGER_WITHOUT_PANEL "charger-without-panel" "there is a charger but no panel"
        "A charger without a panel has nothing to charge from."
        "[charger] without [panel]"
    NEVER_CHARGED "never-charged" "nothing charges the battery"
        "A rechargeable battery without a panel lives from its first charge. That is allowed, but a primary cell lasts longer."
        "a lithium-ion battery without [panel]"
    PRIMARY_CHARGED "primary-charged" "a primary cell must not be charged"
        "Charging a lithium thionyl chloride or manganese dioxide cell can make it burst. Remove panel and charger, or choose a rechargeable battery."
        "chemistry = \"li-socl2\" with [panel]"
    OVERCHARGE "overcharge" "the charger's voltage is above the battery's charge limit"
        "The charger would overcharge the battery, which can make it burn. Most often a charger for lithium-ion at 4.2 V meets a lithium iron phosphate cell, whose limit is 3.6 V or so."
        "chemistry = \"lfp\" on a charger with voltage = \"4.2 V\""
    UNDERCHARGE "undercharge" "the charger hardly charges the battery"
        "The charger's voltage is below that of the half-full battery, so more than half of the capacity is never used."
        "a 3.6 V charger on a 4.2 V battery"
    DIRECT_UNLIMITED "direct-unlimited" "a diode alone may not charge this battery"
        "A panel behind a diode goes on charging far above the limit of a lithium battery or supercapacitor. Use a charger with a voltage, or add a limiter and write its `voltage`."
        "kind = \"direct\" without voltage on a lithium-ion battery"
    NIMH_DIRECT_CURRENT "nimh-direct-current" "the panel charges the nickel battery too fast"
        "Nickel metal hydride without charge control stands only about a tenth of its capacity per hour for ever. The panel's short-circuit current is above that."
        "a 1 W panel on a 600 mAh battery through a diode"
    CHARGER_THRESHOLDS "charger-thresholds" "the charger's thresholds contradict each other"
        "It trickles below a voltage under its charging voltage, starts again below that voltage, stops at a current below its largest, and wakes below the voltage that destroys it."
        "terminate_current = \"500 mA\" with current = \"250 mA\""
    UNKNOWN_REGION "unknown-region" "there is no such regional plan"
        "`region` names one of the regional plans that are built in."
        "region = \"EU686\""
    REGION_PLACE "region-place" "the regional plan is not in use there"
        "Each part of the world has its own plan of frequencies and powers. The boxes round the countries are coarse; what is lawful, the country's regulator says."
        "region = \"US915\" for a node in Europe"
    DATA_RATE "data-rate" "the region has no such data rate"
        "Data rates are written `DR0`, `DR1` and so on; which exist and what they mean depends on the region. Frequency-hopping data rates can't be simulated yet."
        "data_rate = \"DR15\""
    DATA_RATE_SHARES "data-rate-shares" "the shares of the data rates are not 100 % together"
        "`data_rates` says which share of the uplinks is sent at each data rate, so they make 100 % together."
        "data_rates = { DR5 = \"60 %\", DR3 = \"30 %\" }"
    NEWER_RATE "newer-rate" "only newer networks hear this data rate"
        "Spreading factors 5 and 6 came with RP002-1.0.5; many gateways and networks do not hear them. `newer_rates = true` says that yours do. Frequency-hopping data rates (LR-FHSS) can't be simulated yet."
        "data_rate = \"DR12\" in EU868 without newer_rates = true"
    CHANNEL "channel" "the region has no such channel"
        "The channel lies outside the frequencies of the region, is not one of its fixed channels, or no channel in the list can carry a data rate in use."
        "channels = [\"915 MHz\"] in EU868"
    CHANNEL_GAP "channel-gap" "the channel lies in a gap of the band"
        "The law keeps this stretch of the spectrum for others, such as alarms, or has no sub-band there; a node may not send in it."
        "channels = [\"868.65 MHz\"] in EU868"
    CHANNEL_EDGE "channel-edge" "the channel crosses the edge of a sub-band"
        "A channel lies wholly in one sub-band: its centre plus and minus half the occupied bandwidth of every data rate that it may carry."
        "channels = [\"868.55 MHz\"] in EU868, which ends at 868.6125 MHz"
    RADIO_POWER "radio-power" "the transmit current at this power is not known"
        "The power lies outside the radio's table `transmit`; extrapolating it would be a guess."
        "power = \"20 dBm\" on a radio whose table ends at 14 dBm"
    PAYLOAD_TOO_LONG "payload-too-long" "the message is too long for the data rate"
        "The region allows fewer bytes at this data rate; the network would not accept the message."
        "payload = \"100 bytes\" at DR0 in EU868"
    UNKNOWN_MESSAGE "unknown-message" "there is no such message from the node"
        "`message` of an uplink names one of the tables `[message.NAME]` whose direction is `up`."
        "uplink = { message = \"reprot\" }"
    MESSAGE_NAME "message-name" "the name can't be used in generated programs"
        "Names of messages, fields, words and constants become names in C, JavaScript, Python and Rust: at most 32 lower-case ASCII letters, digits and `_`, a letter first, and no keyword of these languages, nor what a message or field can't be called there: `message` in JavaScript, `u8` in Rust."
        "field.float = { unit = \"m\", range = [0, 5], resolution = 0.01 }"
    NAME_COLLISION "name-collision" "two names are the same in generated programs"
        "A field is called by its message and its own name, a position also has `latitude` and `longitude`, a word of a choice is called by message, field and word: `[message.a]` with `b_c` and `[message.a_b]` with `c` would both be `a_b_c`. C tells apart only the first 63 characters, prefix included."
        "field.place of kind position beside field.place_latitude"
    MESSAGE_PORT "message-port" "the port is outside 1 to 223"
        "Port 0 carries commands of the network, 224 is for certification, and higher ones are reserved (LoRaWAN L2 1.0.4, clause 4.3.2, from memory)."
        "port = 0"
    PORT_TWICE "port-twice" "two messages can't be told apart"
        "Two messages in one direction share a port. Give each form of each message its own port, or write `version` with the same number of bits and different values."
        "two messages with port = 2"
    VERSION_BITS "version-bits" "the edition does not fit its bits"
        "`version` has 1 to 8 bits, and `value` is below two to that power."
        "version = { bits = 2, value = 4 }"
    FIELD_COUNT "field-count" "too many fields, or none"
        "A message has 1 to 64 fields. More than that fits no slow data rate; use several messages."
        "a message with 300 fields"
    FIELD_NUMBER "field-number" "the number is not an exact decimal"
        "Ranges and resolutions are taken as they are written, digit by digit, so that every language computes the same: at most 15 digits, 9 of them behind the point, and no exponent."
        "resolution = 1e-3"
    FIELD_UNIT "field-unit" "the unit is not a UCUM code"
        "Units of fields are codes of the Unified Code for Units of Measure, as exports need them: `Cel` for degrees Celsius, `%`, `mm`, `hPa`, `m/s`; `1` for a plain number. They are ASCII without blanks."
        "unit = \"C\", which is a coulomb"
    FIELD_RANGE "field-range" "the range is not usable"
        "The lowest value of a range lies below the highest, and all values must be exact in 64-bit integers."
        "range = [60, -40]"
    FIELD_RESOLUTION "field-resolution" "the resolution is not usable"
        "A resolution is above zero and not larger than the range."
        "resolution = 0"
    FIELD_BITS "field-bits" "the width is not usable"
        "A code has a value for each step of the range, and three more: below, above and absent. The widest code has 32 bits; a counter counts in 1 to 31 bits."
        "range = [-40, 60], resolution = 0.1 and bits = 9"
    FIELD_TOO_WIDE "field-too-wide" "one field alone is wider than the message"
        "The message may have `at_most` so many bytes, and never more than 242, the largest payload of any region."
        "length = \"20 bytes\" with at_most = \"12 bytes\""
    CHOICE_WORDS "choice-words" "the words of the choice are not usable"
        "A choice has 2 to 255 words, each once."
        "words = [\"dry\"]"
    FIELD_MEANING "field-meaning" "the field can't mean this"
        "`means` says what a field of a message from the node tells about the node itself: `battery` and `panel` are voltages in `mV` or `V`, `charging` is a counter in `min` of step 1, `box` is a temperature in `Cel`, `restarted` is a flag. A field of kind `battery` means `battery` by itself; no two fields of one message mean the same."
        "rain = { kind = \"counter\", unit = \"mm\", .., means = \"charging\" }"
    GIVEN_PLACE "given-place" "the field can't lie there"
        "A field of a message of a bought node is an integer of at most 64 bits (`shift` and `bits` together) that lies within the message; a float has 32 or 64 bits, bytes are whole."
        "byte = 6, bits = 16 in a message of 7 bytes"
    GIVEN_TAG "given-tag" "the tags don't tell the values apart"
        "In a list of tagged values every field has a tag of 1 to 8 bytes in hex, and no tag begins as another one; fields with the same tag share the value behind it."
        "tag = \"02\" beside tag = \"02 68\""
    SETS_INTERVAL "sets-interval" "the field can't set this interval"
        "`sets` of a number in a message to the node names the activity whose interval it sets, in the unit `s`, `min`, `h` or `d`."
        "report_interval = { unit = \"Cel\", .., sets = \"report\" }"
    HISTORY "history" "the history is not usable"
        "Numbers, battery voltages and counters can carry up to 16 earlier readings as differences of 3 to 16 bits that are not wider than the reading itself."
        "history = { earlier = 2, bits = 2 }"
    MESSAGE_TOO_LONG "message-too-long" "the message is longer than it may become"
        "The fields together take more bytes than `at_most` allows, or more than 242, the largest payload of any region."
        "at_most = \"4 bytes\" with five bytes of fields"
    SHORT_FORM "short-form" "the short form is not usable"
        "A short form keeps at least one field and is shorter than the full one. It is sent at data rates up to `up_to` and wherever the full form does not fit; if there is none, it is never sent."
        "short = { port = 3 } when every field has priority 1 and none has a history"
    NO_LOAD "no-load" "nothing hangs on the battery"
        "A node has at least one `[load.NAME]`."
        "a design file without [load.board]"
    UNKNOWN_REGULATOR "unknown-regulator" "there is no such regulator"
        "`regulator` names one of the tables `[regulator.NAME]`; where there are several, each load says which."
        "regulator = \"mian\""
    FLOOR_UNMEASURED "floor-unmeasured" "the sleeping current was not measured"
        "The sleep current of a board follows from its worst solder joint and its forgotten pull-up, not from a data sheet. Until it is measured on the finished board, a spread of 100 % is used."
        "floor = \"4 uA\" without floor_measured = true"
    FLOOR_BELOW_SLEEP "floor-below-sleep" "the floor is below the radio's sleep current"
        "The floor of the load that carries the radio includes the radio's sleep current, so it can't be below it."
        "floor = \"0.5 uA\" with a radio that sleeps at 2 uA"
    INTERVAL_ZERO "interval-zero" "the interval must be above zero"
        "Something that happens every 0 minutes happens for ever, and something every hundred years never. To switch an activity off, remove it."
        "every = \"0 min\""
    INTERVAL_ROWS "interval-rows" "the table of intervals is not usable"
        "Rows of `every_by_charge` and `every_by_month_and_charge` descend strictly from the highest charge, and the last one begins at 0 %; in the latter no interval is shorter than that of the same month above it."
        "every_by_charge = [[\"50 %\", \"10 min\"]]"
    ACTIVITY_TOO_LONG "activity-too-long" "the activity takes longer than its interval"
        "Its steps together last longer than the shortest interval between two of them."
        "every = \"1 s\" with a step of 5 s"
    ACTIVITY_EMPTY "activity-empty" "the activity does nothing"
        "An activity has at least one step or sensor."
        "steps = [] without sensors"
    STEP "step" "the step is not usable"
        "A step has either `current` and `time`, or `uplink`, or `fix`, or `snapshot`."
        "steps = [{ current = \"6 mA\" }]"
    SNAPSHOT_UNSENT "snapshot-unsent" "the recording of satellites is not sent"
        "A raw recording is of use only where the position is worked out: an uplink behind it in the same activity must have room for it."
        "steps = [{ snapshot = { time = \"2 s\" } }] without an uplink"
    UPLINK_WITHOUT_RADIO "uplink-without-radio" "a message without a radio"
        "A step sends a message, but the design has no `[radio]`."
        "an uplink step without [radio]"
    RADIO_UNUSED "radio-unused" "a radio that never sends"
        "The design has a `[radio]`, but no step of any activity sends a message: no charge is reckoned for sending, and law and reach have nothing to judge."
        "steps = [{ current = \"6 mA\", time = \"200 ms\" }] alone, with [radio]"
    FIX_WITHOUT_RECEIVER "fix-without-receiver" "a position fix without a receiver"
        "A step takes a position, but the design has no `[receiver]`."
        "a fix step without [receiver]"
    FIX_TIMES "fix-times" "the times to a fix contradict each other"
        "A receiver that still has its ephemeris is faster than one that has only time and almanac, and that one faster than one that begins from nothing."
        "hot = \"30 s\" with warm = \"25 s\""
    NO_REGULATOR "no-regulator" "nothing says at which voltage the board stops"
        "Without a regulator and without `stops_below` the loads are taken to run until the battery's `empty_voltage`. A board for 3.3 V stops earlier: write its regulator (`kind`, `output`, `dropout`), or the voltage at which it stops."
        "a design file with neither [regulator.NAME] nor [cutoff]"
    CUTOFF_ORDER "cutoff-order" "the node would come back below the voltage at which it stops"
        "`restarts_above` lies above `stops_below`; otherwise the node starts and stops without end."
        "stops_below = \"3.6 V\" and restarts_above = \"3.5 V\""
    CUTOFF_ABOVE_FULL "cutoff-above-full" "the full battery is not enough to run"
        "The voltage at which the node stops or comes back is above that of the full battery."
        "a 5 V regulator on one lithium cell"
    CUTOFF_TOO_LOW "cutoff-too-low" "the node stops later than its parts do"
        "`stops_below` is below what the regulators need or below the voltage at which the battery's protection opens: the parts fail before the node stops in good order."
        "stops_below = \"2.9 V\" with a 3.0 V regulator"
    SIZE_RANGE "size-range" "there is nothing to choose from"
        "What `overwinter size` may choose is a range from its lower to its upper end, or a list that is not empty, of parts and activities that there are; prices are zero or more."
        "intervals = [\"3 h\", \"1 min\"]"
    DIARY_OVERLAP "diary-overlap" "two stays share a day"
        "Each day of the year belongs to one stay at most."
        "from = \"11-01\" to = \"02-28\" and from = \"02-01\" to = \"03-31\""
}
