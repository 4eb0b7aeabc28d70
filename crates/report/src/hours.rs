//! The hour-by-hour life as CSV.

use std::fmt::Write as _;

use verdict::plan::Plan;

use super::json::state;

const HEADER: &str = "life_year,month,day,hour,in_plane_w_per_m2,air_celsius,cell_celsius,battery_celsius,\
panel_current_ma,panel_voltage_v,battery_current_ma,battery_voltage_v,charge_percent,state";

/// One row per hour of the life's last year; `hour` is the hour's beginning in local standard time.
pub fn csv(plan: &Plan) -> String {
    let mut out = String::with_capacity(plan.hours.len() * 96);
    out.push_str(HEADER);
    out.push('\n');
    for hour in &plan.hours {
        let at = hour.at;
        writeln!(
            out,
            "{},{},{},{},{:.1},{:.1},{:.1},{:.1},{:.3},{:.3},{:.3},{:.3},{:.2},{}",
            at.pass + 1,
            at.month,
            at.day,
            at.hour,
            hour.in_plane.watts_per_square_metre(),
            hour.air.celsius(),
            hour.cell.celsius(),
            hour.battery.celsius(),
            hour.panel_current.milliamperes(),
            hour.panel_voltage.volts(),
            hour.battery_current.milliamperes(),
            hour.battery_voltage.volts(),
            hour.charge.percent(),
            state(hour.state),
        )
        .expect("a string takes any text");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;

    #[test]
    fn every_hour_has_as_many_cells_as_the_header() {
        let text = csv(&fixture::plan());
        let cells: Vec<usize> = text.lines().map(|line| line.split(',').count()).collect();
        assert_eq!(cells, vec![HEADER.split(',').count(); 8761]);
    }
}
