//! The settings in C: region, payload sizes, join back-off, intervals, watchdog of the fix.

use design::message::{Direction, Field, Form, Message};
use design::region::Region;

use crate::charge::{self, ChargeSteps};
use crate::kit::Kit;
use crate::settings::{ActivitySettings, RadioSettings};
use crate::words::{line, remark};

pub(super) fn write(text: &mut String, kit: &Kit) {
    if let Some(radio) = &kit.settings.radio {
        region(text, radio);
        sending(text, radio);
        confirmed(text, kit);
        sizes(text, radio, kit.messages);
        join(text, radio);
    }
    if let Some(charge) = &kit.settings.charge {
        charge_steps(text, charge);
    }
    for activity in &kit.settings.activities {
        interval(text, kit, activity);
    }
    if !kit.settings.activities.is_empty() {
        text.push_str(COUNTERS);
    }
}

fn region(text: &mut String, radio: &RadioSettings) {
    line(text, format_args!("\n/* Region: {} ({}). */", radio.region, remark(&radio.source)));
    for (number, name) in Region::names().iter().enumerate() {
        line(text, format_args!("#define WINTER_REGION_{} {}", macro_name(name), number + 1));
    }
    let chosen = macro_name(&radio.region);
    line(
        text,
        format_args!(
            "#define WINTER_REGION WINTER_REGION_{chosen}\n#define WINTER_REGION_NAME \"{}\"\n\
             #if defined(WINTER_STACK_REGION) && WINTER_STACK_REGION != WINTER_REGION\n\
             #error \"the LoRaWAN stack is built for another region than this design ({})\"\n#endif",
            radio.region, radio.region
        ),
    );
}

/// Power, channels and data rates that law, reach and life were judged with.
fn sending(text: &mut String, radio: &RadioSettings) {
    let channels: Vec<String> = radio.channels_hz.iter().map(|hz| format!("{hz}u")).collect();
    let lines: Vec<String> = channels.chunks(6).map(|chunk| chunk.join(", ")).collect();
    let rates =
        || radio.largest_payloads.iter().map(|(rate, _)| format!("{rate}u")).collect::<Vec<_>>().join(", ");
    let shares: Vec<String> = radio.rates.iter().map(|(rate, share)| format!("DR{rate} {share} %")).collect();
    let set_by = if radio.adapts {
        "the network sets the data rate".to_owned()
    } else {
        format!("the data rate is set here, messages being sent at {}", shares.join(", "))
    };
    line(
        text,
        format_args!(
            "\n/* Sending: law, reach and life were judged with this power at the radio's output [dBm, times 10] and these\n \
             * channels [Hz] and data rates; {set_by}. */\n\
             #define WINTER_POWER_DBM_X10 ({:.0})\n\
             #define WINTER_CHANNEL_COUNT {}u\n\
             #define WINTER_CHANNELS_HZ {}\n\
             #define WINTER_DATA_RATES {}\n\
             #define WINTER_NETWORK_SETS_DATA_RATE {}",
            radio.power_dbm * 10.0,
            channels.len(),
            lines.join(", \\\n    "),
            rates(),
            u8::from(radio.adapts)
        ),
    );
}

/// Whether a message asks for an acknowledgement.
fn confirmed(text: &mut String, kit: &Kit) {
    for message in kit.messages.iter().filter(|message| message.direction == Direction::Up) {
        let asks = kit.settings.activities.iter().any(|activity| activity.confirmed.contains(&message.name));
        line(
            text,
            format_args!("#define WINTER_CONFIRMED_{} {}", message.name.to_uppercase(), u8::from(asks)),
        );
    }
}

fn macro_name(region: &str) -> String {
    region.replace('-', "_").to_uppercase()
}

fn sizes(text: &mut String, radio: &RadioSettings, messages: &[Message]) {
    text.push_str("\n/* Application bytes that a data rate carries without MAC answers, which may take up to 15 more. */\n");
    for (rate, bytes) in &radio.largest_payloads {
        line(text, format_args!("#define WINTER_LARGEST_PAYLOAD_DR{rate} {bytes}u"));
    }
    for message in messages.iter().filter(|message| message.direction == Direction::Up) {
        for (rate, bytes) in &radio.largest_payloads {
            let form = message.form_at(*rate);
            if message.layout(form).bytes <= *bytes {
                let short = if form == Form::Short { "SHORT_" } else { "" };
                line(
                    text,
                    format_args!(
                        "typedef char winter_check_{}_fits_dr{rate}[(WINTER_{short}BYTES_{} <= WINTER_LARGEST_PAYLOAD_DR{rate}) ? 1 : -1];",
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
             #define WINTER_JOIN_RETRY_S {}u\n\
             #define WINTER_JOIN_AIR_FIRST_HOUR_MS 36000u\n\
             #define WINTER_JOIN_AIR_NEXT_TEN_HOURS_MS 36000u\n\
             #define WINTER_JOIN_AIR_PER_DAY_MS 8700u\n\
             static inline uint32_t winter_join_air_ms(uint32_t hours_since_power_up)\n{{\n    \
             return hours_since_power_up < 1u ? WINTER_JOIN_AIR_FIRST_HOUR_MS\n        \
             : hours_since_power_up < 11u ? WINTER_JOIN_AIR_NEXT_TEN_HOURS_MS\n        : WINTER_JOIN_AIR_PER_DAY_MS;\n}}",
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
            "\n/* {name}{sends}{only}. Seconds between two{}; 0: not at all.{} */",
            if activity.varies() {
                " in a month, 1 to 12, on a step of charge"
            } else {
                ", whatever the charge"
            },
            set_by(kit, activity)
        ),
    );
    if activity.varies() {
        by_month_and_step(text, activity);
    } else {
        line(
            text,
            format_args!(
                "static inline uint32_t winter_interval_s_{name}(uint8_t charge_percent)\n{{\n    \
                 (void)charge_percent;\n    return {}u;\n}}",
                activity.every_s[0][0]
            ),
        );
    }
    if let Some(give_up) = activity.fix_give_up_s {
        line(
            text,
            format_args!(
                "/* Watchdog: switch the positioning receiver off after this time without a fix. */\n\
                 #define WINTER_FIX_GIVE_UP_S_{} {give_up}u",
                name.to_uppercase()
            ),
        );
    }
}

fn charge_steps(text: &mut String, charge: &ChargeSteps) {
    let remarks = charge::remarks().join("\n * ");
    line(
        text,
        format_args!(
            "\n/* {remarks} */\n\
             #define WINTER_CHARGE_STEPS {steps}u\n\
             #define WINTER_CHARGE_STEP_RESTS_S {rests}u\n\
             static inline uint8_t winter_charge_step(uint32_t millivolts, uint8_t last, uint8_t rested)\n{{\n    \
             static const uint32_t from_mv[WINTER_CHARGE_STEPS] = {{ {from} }};\n    \
             static const uint32_t up_at_mv[WINTER_CHARGE_STEPS] = {{ {up} }};\n    \
             uint8_t step = last < WINTER_CHARGE_STEPS ? last : (uint8_t)(WINTER_CHARGE_STEPS - 1u);\n    \
             if (millivolts >= from_mv[step]) {{\n        \
             return (uint8_t)(step + (rested && step + 1u < WINTER_CHARGE_STEPS && millivolts >= up_at_mv[step + 1u]));\n    }}\n    \
             while (step > 0u && millivolts < from_mv[step]) {{\n        step = (uint8_t)(step - 1u);\n    }}\n    \
             return step;\n}}",
            steps = charge.from_mv.len(),
            rests = charge.rests_s,
            from = charge::list(&charge.from_mv, "u"),
            up = charge::list(&charge.up_at_mv, "u"),
        ),
    );
}

fn by_month_and_step(text: &mut String, activity: &ActivitySettings) {
    let rows: Vec<String> = activity
        .every_s
        .iter()
        .map(|months| format!("        {{ {} }}", charge::list(months, "u")))
        .collect();
    let steps = activity.every_s.len();
    line(
        text,
        format_args!(
            "static inline uint32_t winter_interval_s_{name}(uint8_t month, uint8_t step)\n{{\n    \
             static const uint32_t every_s[{steps}][12] = {{\n{rows}\n    }};\n    \
             return every_s[step < {steps}u ? step : {steps}u - 1u][month >= 1u && month <= 12u ? month - 1u : 0u];\n}}",
            name = activity.name,
            rows = rows.join(",\n"),
        ),
    );
}

/// The fields whose value takes the place of the interval once it was heard, or is the least that a table may say.
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
    match names.join(" or ") {
        none if none.is_empty() => none,
        names if activity.varies() => {
            format!(
                " Once heard, wait at least as long as {names} says: for whichever is longer; 0 stays not at all."
            )
        }
        names => format!(" Once heard, {names} takes its place."),
    }
}

const COUNTERS: &str = "
/* Frame counters and the DevNonce must survive a reset: keep them in non-volatile memory. */
";
