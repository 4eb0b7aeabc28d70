
function chargeStep(millivolts, last, rested) {
  var step = Math.min(last, STEP_FROM_MV.length - 1);
  if (millivolts >= STEP_FROM_MV[step]) {
    return rested && step + 1 < STEP_FROM_MV.length && millivolts >= STEP_UP_AT_MV[step + 1] ? step + 1 : step;
  }
  while (step > 0 && millivolts < STEP_FROM_MV[step]) { step -= 1; }
  return step;
}

function intervalSeconds(activity, month, step) {
  var rows = EVERY_S[activity];
  return rows[Math.min(step, rows.length - 1)][month >= 1 && month <= 12 ? month - 1 : 0];
}

if (typeof module !== 'undefined' && module.exports) {
  module.exports.chargeStep = chargeStep;
  module.exports.intervalSeconds = intervalSeconds;
}
