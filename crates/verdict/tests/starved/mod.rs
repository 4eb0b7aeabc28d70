//! A node for which tables of intervals are made.

use design::node::Design;

use crate::common;

/// A node on a cell of three weeks whose panel hardly sees the winter sun.
pub(crate) fn starved([unattended, without_outage]: [&str; 2], shade: &str, every: &str) -> Design {
    common::design(&format!(
        r#"
        schema = 1
        name = "Starved"
        [site]
        latitude = "46.99 deg"
        longitude = "13.01 deg"
        elevation = "620 m"
        snow_days = [14, 10, 4, 0, 0, 0, 0, 0, 0, 0, 3, 9]
        [promise]
        unattended = "{unattended}"
        without_outage = "{without_outage}"
        installed = "04-01"
        [panel]
        part = "panel-0w3"
        tilt = "60 deg"
        azimuth = "180 deg"
        shade = "{shade}"
        [charger]
        part = "linear-usb-gated"
        [battery]
        part = "nmc-18650"
        capacity = "120 mAh"
        [cutoff]
        stops_below = "3.3 V"
        restarts_above = "3.6 V"
        [radio]
        part = "radio-mcu-14dbm"
        region = "EU868"
        data_rate = "DR3"
        power = "14 dBm"
        [load.node]
        floor = "30 uA +- 20 %"
        floor_measured = true
        [load.node.activity.report]
        every = "{every}"
        steps = [{{ current = "6 mA", time = "250 ms" }}, {{ uplink = {{ payload = "12 bytes" }} }}]
        "#
    ))
}
