
/// The step on which the node stands that stood on `last` and reads this voltage.
pub fn charge_step(millivolts: u32, last: usize, rested: bool) -> usize {
    let mut step = if last < STEP_FROM_MV.len() { last } else { STEP_FROM_MV.len() - 1 };
    if millivolts >= STEP_FROM_MV[step] {
        let up = rested && step + 1 < STEP_FROM_MV.len() && millivolts >= STEP_UP_AT_MV[step + 1];
        return if up { step + 1 } else { step };
    }
    while step > 0 && millivolts < STEP_FROM_MV[step] {
        step -= 1;
    }
    step
}

fn every_s<const STEPS: usize>(rows: &[[u32; 12]; STEPS], month: usize, step: usize) -> u32 {
    let row = &rows[if step < STEPS { step } else { STEPS - 1 }];
    row[if month >= 1 && month <= 12 { month - 1 } else { 0 }]
}
