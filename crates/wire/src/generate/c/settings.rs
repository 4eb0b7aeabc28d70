//! The settings in C: region, payload sizes, join back-off, intervals, watchdog of the fix.

use design::message::{Direction, Field, Form, Message};
use design::region::Region;

use super::super::settings::{ActivitySettings, RadioSettings};
use super::super::{Kit, line, remark};

pub(super) fn write(text: &mut String, kit: &Kit) {
    if let Some(radio) = &kit.settings.radio {
        region(text, radio);
        sizes(text, radio, kit.messages);
        join(text, radio);
    }
    for activity in &kit.settings.activities {
        interval(text, kit, activity);
    }
    if !kit.settings.activities.is_empty() {
        text.push_str(BYTE_ORDER);
    }
}

fn region(text: &mut String, radio: &RadioSettings) {
    line(text, format_args!("\n/* Region: {} ({}). */", radio.region, remark(&radio.source)));
    for (number, name) in Region::names().iter().enumerate() {
        line(text, format_args!("#define OW_REGION_{} {}", macro_name(name), number + 1));
    }
    let chosen = macro_name(&radio.region);
    line(
        text,
        format_args!(
            "#define OW_REGION OW_REGION_{chosen}\n#define OW_REGION_NAME \"{}\"\n\
             #if defined(OW_STACK_REGION) && OW_STACK_REGION != OW_REGION\n\
             #error \"the LoRaWAN stack is built for another region than this design ({})\"\n#endif",
            radio.region, radio.region
        ),
    );
}

fn macro_name(region: &str) -> String {
    region.replace('-', "_").to_uppercase()
}

fn sizes(text: &mut String, radio: &RadioSettings, messages: &[Message]) {
    text.push_str("\n/* Application bytes that a data rate carries without MAC answers, which may take up to 15 more. */\n");
    for (rate, bytes) in &radio.largest_payloads {
        line(text, format_args!("#define OW_LARGEST_PAYLOAD_DR{rate} {bytes}u"));
    }
    for message in messages.iter().filter(|message| message.direction == Direction::Up) {
        for (rate, bytes) in &radio.largest_payloads {
            let form = message.form_at(*rate);
            if message.layout(form).bytes <= *bytes {
                let short = if form == Form::Short { "SHORT_" } else { "" };
                line(
                    text,
                    format_args!(
                        "typedef char ow_check_{}_fits_dr{rate}[(OW_{short}BYTES_{} <= OW_LARGEST_PAYLOAD_DR{rate}) ? 1 : -1];",
                        message.name,
                        message.name.to_uppercase()
                    ),
                );
            } else {
                line(
                    text,
                    format_args!("/* {} does not fit DR{rate}: never send it there. */", message.name),
                );
            }
        }
    }
}

/// LoRaWAN 1.0.2, chapter 7, and TR007: the on-air time of all join requests together is limited, counted from power-up.
fn join(text: &mut String, radio: &RadioSettings) {
    line(
        text,
        format_args!(
            "\n/* Joining: wait between two tries, with a random part; and the on-air time that all tries together may take:\n \
             * 36 s in the first hour, 36 s in the ten hours after it, then 8.7 s in every 24 hours (LoRaWAN back-off). */\n\
             #define OW_JOIN_RETRY_S {}u\n\
             #define OW_JOIN_AIR_FIRST_HOUR_MS 36000u\n\
             #define OW_JOIN_AIR_NEXT_TEN_HOURS_MS 36000u\n\
             #define OW_JOIN_AIR_PER_DAY_MS 8700u\n\
             static inline uint32_t ow_join_air_ms(uint32_t hours_since_power_up)\n{{\n    \
             return hours_since_power_up < 1u ? OW_JOIN_AIR_FIRST_HOUR_MS\n        \
             : hours_since_power_up < 11u ? OW_JOIN_AIR_NEXT_TEN_HOURS_MS\n        : OW_JOIN_AIR_PER_DAY_MS;\n}}",
            radio.join_retry_s
        ),
    );
}

fn interval(text: &mut String, kit: &Kit, activity: &ActivitySettings) {
    let name = &activity.name;
    let only =
        if activity.only.is_empty() { String::new() } else { format!("; only {}", remark(&activity.only)) };
    let sends = if activity.sends.is_empty() {
        String::new()
    } else {
        format!("; sends {}", activity.sends.join(", "))
    };
    line(
        text,
        format_args!(
            "\n/* {name}{sends}{only}. Seconds between two by state of charge in percent; 0: not at all.{} */\n\
             static inline uint32_t ow_interval_s_{name}(uint8_t charge_percent)\n{{",
            set_by(kit, activity)
        ),
    );
    let rows = activity.intervals.iter().filter(|(charge, _)| *charge > 0);
    for (charge, seconds) in rows {
        line(
            text,
            format_args!("    if (charge_percent >= {charge}u) {{\n        return {seconds}u;\n    }}"),
        );
    }
    let lowest =
        activity.intervals.last().filter(|(charge, _)| *charge == 0).map_or(0, |(_, seconds)| *seconds);
    if activity.intervals.iter().all(|(charge, _)| *charge == 0) {
        text.push_str("    (void)charge_percent;\n");
    }
    line(text, format_args!("    return {lowest}u;\n}}"));
    if let Some(give_up) = activity.fix_give_up_s {
        line(
            text,
            format_args!(
                "/* Watchdog: switch the positioning receiver off after this time without a fix. */\n\
                 #define OW_FIX_GIVE_UP_S_{} {give_up}u",
                name.to_uppercase()
            ),
        );
    }
}

/// The fields whose value takes the place of the interval once it was heard.
fn set_by(kit: &Kit, activity: &ActivitySettings) -> String {
    let sets = |field: &Field| {
        field.sets.as_ref().is_some_and(|set| set.load == activity.load && set.activity == activity.activity)
    };
    let fields =
        kit.messages.iter().flat_map(|message| message.fields.iter().map(move |field| (message, field)));
    let names: Vec<String> = fields
        .filter(|(_, field)| sets(field))
        .map(|(message, field)| format!("{} of {}", field.name, message.name))
        .collect();
    if names.is_empty() {
        String::new()
    } else {
        format!(" Once heard, {} takes its place.", names.join(" or "))
    }
}

const BYTE_ORDER: &str = "
/* Byte order. DevEUI and JoinEUI: labels and consoles show the most significant byte first; over the air the least
 * significant byte goes first, and a stack may want either: its manual says which. AppKey: a row of bytes in the order
 * in which it is written, never reversed. Frame counters and the DevNonce must survive a reset: keep them in
 * non-volatile memory. */
";
