//! The keys of the log: how `serve` listens, where it keeps, what it takes from other networks and hands on.

use crate::diagnostic::Diagnostics;
use crate::file::message::Decimal;
use crate::file::value::{Foreign, Listen, Named};
use crate::quantity::Duration;
use crate::section::rule::within;
use crate::section::{At, Field, SectionDoc, as_table, in_order, section};
use crate::serve::{Answers, Pointer, ReadingForm, TextForm, TimeForm};
use toml::Spanned;
use toml::de::DeValue;

section! {
    /// How `overwinter serve` receives, keeps and shows.
    pub(crate) struct ServeSection = "serve" {
        /// The log: one file of `SQLite`, whose path counts from the folder of this file. Left out: named as this file, ending in `.sqlite`.
        log: String = optional "larkmoor.sqlite";
        /// A `PostgreSQL` database in place of the file, as its client library names it: `service=NAME` of a service file. A password never stands here. Read, but not yet served: `overwinter serve` refuses it and keeps its log in a file.
        postgres: String = optional "service=larkmoor";
        /// File with the passphrase of the key box, readable by its owner alone. Left out: it is asked for at the start.
        passphrase_file: String = optional "larkmoor.pass";
        /// Address and port of the page, and of messages by HTTP.
        page: Listen = optional "127.0.0.1:8750";
        /// Certificate of the page and of the websocket of gateways, PEM; with `key`. Beyond this machine both need it, or `behind_proxy`.
        certificate: String = optional "page.pem";
        /// Private key of the certificate, PEM.
        key: String = optional "page.key";
        /// Something before the page and the websocket does their TLS.
        behind_proxy: bool = default false;
        /// Names by which browsers may call the page, beside its address.
        hosts: Vec<At<String>> = optional ["larkmoor.example"];
        /// What lies under the map. Left out: the shade of the site's own terrain alone, and nobody is asked for anything.
        basemap: BasemapSection = shown { tiles = "https://tiles.larkmoor.example/{z}/{x}/{y}.png", credit = "the land survey" };
        /// What becomes of frames of strangers: kept so long, or `count` (counted alone), or `for ever`. It is all that the log ever deletes.
        foreign: Foreign = default "30 d" where within("1 h", "50 years").usually("1 d", "5 years");
        /// How it listens to gateways of your own, and answers them.
        gateways: ServeGatewaysSection = optional {};
    }
}

section! {
    /// A map of your choice under that of the page. Browsers then ask its server, which sees where they look.
    pub(crate) struct BasemapSection = "basemap" {
        /// Address of its pictures of 256 by 256 pixels in spherical Mercator; `{z}`, `{x}` and `{y}` stand for level, column and row.
        tiles: String = required "https://tiles.larkmoor.example/{z}/{x}/{y}.png";
        /// Whose it is, as its owner wants it said.
        credit: String = optional "the land survey";
        /// The finest level that it has.
        finest: u32 = default 17 where within("1", "22");
    }
}

section! {
    /// How gateways of your own are heard and answered.
    pub(crate) struct ServeGatewaysSection = "serve.gateways" {
        /// Address and port of the datagrams, as the gateway is set; there is no default. Anybody who reaches it may inject frames: a private network at most.
        udp: Listen = optional "127.0.0.1:1700";
        /// Address and port of the websocket. Beyond this machine it is sealed by the certificate of `serve`, and each gateway shows the word that `overwinter people SITE.toml gateway NAME` made for it.
        websocket: Listen = optional "127.0.0.1:8752";
        /// What is answered: `all`, `lifeline` (joins, acknowledgements, and nodes that ask for any answer), or `never`, beside another network.
        answers: Answers = default "all";
        /// How long copies by other gateways are waited for before one is chosen to answer.
        gather: Duration = default "250 ms" where within("100 ms", "600 ms");
        /// From an uplink to the first receive window, in whole seconds; more where the gateway hangs on a slow line. Nodes learn it when they join.
        rx1_delay: Duration = default "1 s" where within("1 s", "15 s");
    }
}

section! {
    /// What another network, which hears the nodes and knows their keys, hands on: how it comes, and where in its messages each
    /// thing stands. It comes by one of `mqtt`, `http` and `csv`; a row of CSV is read as an object whose members are its columns.
    pub(crate) struct SourceSection = "source" {
        /// Messages of a broker.
        mqtt: SourceMqttSection = shown { broker = "mqtts://broker.larkmoor.example:8883", topics = ["fields/#"] };
        /// Messages that are posted to the address of `page`.
        http: SourceHttpSection = optional { path = "/in/fields", token_file = "fields.token" };
        /// A file of the past.
        csv: SourceCsvSection = optional { file = "fields-2025.csv" };
        /// Where each message holds a list of uplinks; all other places then count from the element.
        each: Pointer = optional "/records";
        /// Other messages are counted and left alone.
        only_if: OnlyIfSection = optional { at = "/kind", equals = "up" };
        /// Who sent it: the DevEUI, or the name if `names` says so.
        device: Pointer = required "/who/id";
        /// The device is named as in the registry.
        names: bool = default false;
        /// The counter of the uplink.
        counter: Pointer = optional "/n";
        /// The port of the uplink; or `port_is`.
        port: Pointer = shown "/p";
        /// The port of all uplinks, where the messages do not say it.
        port_is: u32 = optional 10 where within("1", "223");
        /// The bytes of the message in the clear; or `values`.
        payload: PayloadSection = shown { at = "/body", is = "base64" };
        /// Values that the other network has decoded, by message and field of the design; then there is no `payload`, and no port.
        values: ValuesByMessage = optional { status = { level = { at = "/decoded/level", step = 10 } } };
        /// When it was heard. Left out: when it arrives here.
        time: TimeSection = optional { at = "/at", is = "RFC 3339" };
        /// Received power in dBm.
        rssi: Pointer = optional "/heard/0/strength";
        /// Signal to noise in dB.
        snr: Pointer = optional "/heard/0/quality";
        /// How its nodes are told the settings of their design.
        outlet: OutletSection = optional { mqtt = { broker = "mqtts://broker.larkmoor.example:8883", topic = "fields/{dev_eui}/down" }, template = "down.json" };
    }
}

section! {
    /// How the other network is asked to tell its nodes something. It leaves by one of `mqtt` and `http`.
    pub(crate) struct OutletSection = "outlet" {
        /// To a broker.
        mqtt: OutletMqttSection = shown { broker = "mqtts://broker.larkmoor.example:8883", topic = "fields/{dev_eui}/down" };
        /// To a server.
        http: OnwardHttpSection = optional { url = "https://network.larkmoor.example/down", token_file = "network.token" };
        /// File with an example of what that network takes, in JSON, in which `{dev_eui}`, `{port}` and `{payload}` stand for what is sent.
        template: String = required "down.json";
    }
}

section! {
    /// A broker that takes what nodes are to be told, MQTT 5.
    pub(crate) struct OutletMqttSection = "mqtt" {
        /// Its address, as that of a source.
        broker: String = required "mqtts://broker.larkmoor.example:8883";
        /// The topic; `{site}` and `{node}` stand for their names, `{dev_eui}` for who the node is.
        topic: String = required "fields/{dev_eui}/down";
        /// File with two lines, name and password, readable by its owner alone.
        login_file: String = optional "broker.login";
        /// Certificates that are trusted, PEM. Left out: those of the system.
        ca: String = optional "broker.pem";
    }
}

section! {
    /// Messages of a broker, MQTT 5.
    pub(crate) struct SourceMqttSection = "mqtt" {
        /// Its address: `mqtts://HOST:PORT`, on this machine also `mqtt://`.
        broker: String = required "mqtts://broker.larkmoor.example:8883";
        /// What is subscribed to; `+` stands for one level, `#` for all that follow.
        topics: Vec<At<String>> = required ["fields/#"];
        /// Several processes share the messages under this name.
        share: String = optional "larkmoor";
        /// File with two lines, name and password, readable by its owner alone.
        login_file: String = optional "broker.login";
        /// Certificates that are trusted, PEM. Left out: those of the system.
        ca: String = optional "broker.pem";
    }
}

section! {
    /// Messages that are posted.
    pub(crate) struct SourceHttpSection = "http" {
        /// Path of the address.
        path: String = required "/in/fields";
        /// File with the word that the sender must know, readable by its owner alone.
        token_file: String = required "fields.token";
    }
}

section! {
    /// A file of the past: comma-separated, with a row of titles.
    pub(crate) struct SourceCsvSection = "csv" {
        /// Its path, from the folder of this file.
        file: String = required "fields-2025.csv";
    }
}

section! {
    /// Which messages are taken.
    pub(crate) struct OnlyIfSection = "only_if" {
        /// Where the word stands.
        at: Pointer = required "/kind";
        /// The word; numbers, `true` and `false` as they are written.
        equals: String = required "up";
    }
}

section! {
    /// The bytes of a message.
    pub(crate) struct PayloadSection = "payload" {
        /// Where they stand.
        at: Pointer = required "/body";
        /// How they are written.
        is: TextForm = required "base64";
    }
}

section! {
    /// A value that was decoded already. A position has the fields `NAME_latitude` and `NAME_longitude`.
    pub(crate) struct SourceValueSection = "values" {
        /// Where it stands. Flags are `true` or `false`, choices their word or its number from 0, bytes hex digits.
        at: Pointer = required "/decoded/level";
        /// What one of a number there is worth, in the unit of the field. Left out: 1.
        step: Decimal = optional 10;
        /// What 0 is worth there, in the unit of the field. Left out: 0.
        offset: Decimal = optional 20;
    }
}

/// Values by message and field.
#[derive(Clone, Debug)]
pub(crate) struct ValuesByMessage(pub(crate) Vec<(At<String>, Named<SourceValueSection>)>);

impl Field for ValuesByMessage {
    fn noun() -> String {
        "tables of fields by message".to_owned()
    }
    fn schema() -> String {
        format!("{{\"type\":\"object\",\"additionalProperties\":{}}}", Named::<SourceValueSection>::schema())
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let table = as_table(value, "values", found)?;
        let rows: Vec<Option<_>> = in_order(table)
            .into_iter()
            .map(|(key, fields)| {
                let name = At { value: key.get_ref().to_string(), span: key.span() };
                Named::read(fields, found).map(|fields| (name, fields))
            })
            .collect();
        rows.into_iter().collect::<Option<Vec<_>>>().map(Self)
    }
    fn inside() -> Option<SectionDoc> {
        <Named<SourceValueSection> as Field>::inside()
    }
}

section! {
    /// The time of a message.
    pub(crate) struct TimeSection = "time" {
        /// Where it stands.
        at: Pointer = required "/at";
        /// How it is written.
        is: TimeForm = required "RFC 3339";
    }
}

section! {
    /// Readings that are handed on as they come, at least once. They leave by one of `mqtt` and `http`.
    pub(crate) struct OnwardSection = "onward" {
        /// To a broker.
        mqtt: OnwardMqttSection = shown { broker = "mqtts://platform.larkmoor.example:8883" };
        /// To a server.
        http: OnwardHttpSection = optional { url = "https://platform.larkmoor.example/in", token_file = "platform.token" };
        /// What is sent: `senml`, or `template` as the file of that key shows.
        body: ReadingForm = default "senml";
        /// File with an example of the body in which `{node}`, `{at}` and `{value:FIELD}` stand for what is sent.
        template: String = optional "reading.json";
    }
}

section! {
    /// A broker that takes readings, MQTT 5.
    pub(crate) struct OnwardMqttSection = "mqtt" {
        /// Its address, as that of a source.
        broker: String = required "mqtts://platform.larkmoor.example:8883";
        /// The topic; `{site}` and `{node}` stand for their names.
        topic: String = default "overwinter/{site}/{node}/reading";
        /// File with two lines, name and password, readable by its owner alone.
        login_file: String = optional "platform.login";
        /// Certificates that are trusted, PEM. Left out: those of the system.
        ca: String = optional "platform.pem";
    }
}

section! {
    /// A server that takes readings by POST.
    pub(crate) struct OnwardHttpSection = "http" {
        /// Its address: `https://`, on this machine also `http://`.
        url: String = required "https://platform.larkmoor.example/in";
        /// File with the word that it wants to see, readable by its owner alone.
        token_file: String = optional "platform.token";
        /// Certificates that are trusted, PEM. Left out: those of the system.
        ca: String = optional "platform.pem";
    }
}
