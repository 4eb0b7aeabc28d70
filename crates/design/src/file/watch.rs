//! The keys of the watch: what is watched for beside the rules that hold everywhere, and who is told.

use crate::file::value::{Months, Named};
use crate::quantity::{Angle, Duration, Length};
use crate::section::rule::{LATITUDE, LONGITUDE, within};
use crate::section::{At, section};

section! {
    /// What `overwinter serve` watches for, beside the rules that hold for every node.
    pub(crate) struct WatchSection = "watch" {
        /// Rules of your own, each under a name of your choice.
        rule: Named<WatchRuleSection> = optional frost;
    }
}

section! {
    /// A reading beyond a limit that you set: one of `below`, `above` and `rising_by`, with the value at which it is over.
    pub(crate) struct WatchRuleSection = "watch.rule" {
        /// The field, as it is called in the design.
        field: String = required "leaf_temperature";
        /// Nodes for which it holds. Left out: all that have the field.
        nodes: Vec<At<String>> = optional ["mast"];
        /// The alarm opens below this value, in the field's own unit.
        below: String = shown "1 Cel";
        /// The alarm opens above this value, in the field's own unit.
        above: String = optional "8 Cel";
        /// The alarm opens when the field has risen by more than this from its least value in that time.
        rising_by: String = optional "0.3 m in 1 h";
        /// The alarm closes at this value, or at this rise: on the good side of the limit, so that it does not open and close with every breath.
        again_at: String = required "2 Cel";
        /// It must be beyond the limit for so long. Left out: one reading is enough.
        lasting: Duration = optional "10 min" where within("1 min", "7 d");
        /// The time beyond the limit is added up over so long: 4 h above 8 °C in 24 h are `lasting = "4 h"`, `within = "24 h"`. Left out: it must last without a break.
        within: Duration = optional "24 h" where within("10 min", "31 d");
        /// Months in which it holds, by `time_zone`. Left out: all.
        months: Months = optional [3, 4, 5];
        /// Times of the day in which it holds, by `time_zone`. Left out: all.
        hours: Vec<At<String>> = optional ["22:00-06:00"];
        /// Where a life hangs on it: an alarm opens, and nothing holds it back, when no reading has come for so long in its months and hours, or, of a rule without them, while the last one was near the limit.
        unseen_for: Duration = optional "15 min" where within("1 min", "7 d");
    }
}

section! {
    /// Ground that nodes are not to leave: a circle (`latitude`, `longitude`, `radius`) or the polygons of a `file`.
    pub(crate) struct AreaSection = "area" {
        /// The nodes that are to stay in it; each sends its position.
        nodes: Vec<At<String>> = required ["trailer"];
        /// Middle of the circle, north positive.
        latitude: Angle = shown "46.98 deg" where LATITUDE;
        /// Middle of the circle, east positive.
        longitude: Angle = shown "13.02 deg" where LONGITUDE;
        /// How far it goes.
        radius: Length = shown "400 m" where within("5 m", "200 km");
        /// GeoJSON file with polygons (RFC 7946); the path counts from the folder of this file.
        file: String = optional "pasture.geojson";
    }
}

section! {
    /// Who is told of alarms, and how. It goes by one of `webhook`, `mail`, `modem`, `mqtt` and `sign_of_life`.
    pub(crate) struct TellSection = "tell" {
        /// A server that takes each alarm as JSON by POST.
        webhook: TellWebhookSection = shown { url = "https://desk.larkmoor.example/alarms" };
        /// Mail, by a server that takes it for you.
        mail: TellMailSection = optional { server = "smtps://mail.larkmoor.example", from = "valley@larkmoor.example", to = ["ann@larkmoor.example"] };
        /// Text messages by a modem of this machine, for valleys without internet.
        modem: TellModemSection = optional { port = "/dev/ttyUSB0", to = ["+43 660 0000000"] };
        /// A broker, MQTT 5.
        mqtt: TellMqttSection = optional { broker = "mqtts://platform.larkmoor.example:8883" };
        /// An address that is asked every 5 minutes as long as all runs: whoever keeps it notices when this computer is dead.
        sign_of_life: TellSignSection = optional { url = "https://desk.larkmoor.example/alive" };
        /// Alarms of this urgency and more: `note`, `this week`, `act now`.
        at_least: String = default "this week";
        /// These rules alone, by their words such as `silent`, or `threshold`. Left out: all.
        rules: Vec<At<String>> = optional ["gateway-away", "threshold"];
        /// Times of the day, by `time_zone`, in which nothing is sent; what comes then waits.
        quiet_hours: Vec<At<String>> = optional ["22:00-06:00"];
        /// What is to be done at once is sent in quiet hours as well.
        act_now_always: bool = default true;
        /// Only alarms that nobody has marked as seen for so long: for the second in line.
        if_unseen_for: Duration = optional "20 min" where within("1 min", "7 d");
        /// Days of the week on which it is told, of a rota: what comes on others waits for its next one, unless somebody has seen it. Left out: all.
        days: Vec<At<String>> = optional ["Sat", "Sun"];
        /// On the first of each month a message says that all runs, so that its silence means something.
        monthly: bool = default true;
    }
}

section! {
    /// A server that takes mail, over TLS.
    pub(crate) struct TellMailSection = "mail" {
        /// Its address: `smtps://HOST` (port 465, or as written), on this machine also `smtp://`.
        server: String = required "smtps://mail.larkmoor.example";
        /// The server speaks in the clear first and seals then (STARTTLS, port 587): nothing is sent before it has.
        starttls: bool = default false;
        /// The sender.
        from: String = required "valley@larkmoor.example";
        /// Who gets it; all of them.
        to: Vec<At<String>> = required ["ann@larkmoor.example"];
        /// File with two lines, name and password, readable by its owner alone.
        login_file: String = optional "mail.login";
        /// Certificates that are trusted, PEM. Left out: those of the system.
        ca: String = optional "mail.pem";
    }
}

section! {
    /// A modem on a serial line that sends text messages (3GPP TS 27.005).
    pub(crate) struct TellModemSection = "modem" {
        /// The line.
        port: String = required "/dev/ttyUSB0";
        /// Numbers with country code; all of them. Whoever answers "seen" and the number of the alarm has marked it as seen.
        to: Vec<At<String>> = required ["+43 660 0000000"];
        /// File with the card's PIN, readable by its owner alone.
        pin_file: String = optional "modem.pin";
    }
}

section! {
    /// A server that takes alarms by POST. It is not followed when it names another address.
    pub(crate) struct TellWebhookSection = "webhook" {
        /// Its address: `https://`, on this machine also `http://`.
        url: String = required "https://desk.larkmoor.example/alarms";
        /// File with a secret, readable by its owner alone: with it each message is signed (RFC 9421, hmac-sha256).
        key_file: String = optional "desk.key";
    }
}

section! {
    /// A broker that takes alarms, MQTT 5.
    pub(crate) struct TellMqttSection = "mqtt" {
        /// Its address, as that of a source.
        broker: String = required "mqtts://platform.larkmoor.example:8883";
        /// The topic; `{site}` and `{node}` stand for their names.
        topic: String = default "overwinter/{site}/{node}/alarm";
        /// File with two lines, name and password, readable by its owner alone.
        login_file: String = optional "platform.login";
        /// Certificates that are trusted, PEM. Left out: those of the system.
        ca: String = optional "platform.pem";
    }
}

section! {
    /// An address that is asked as a sign of life.
    pub(crate) struct TellSignSection = "sign_of_life" {
        /// The address: `https://`, on this machine also `http://`.
        url: String = required "https://desk.larkmoor.example/alive";
    }
}
