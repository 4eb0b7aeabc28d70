

def charge_step(millivolts, last, rested):
    step = min(last, len(STEP_FROM_MV) - 1)
    if millivolts >= STEP_FROM_MV[step]:
        up = rested and step + 1 < len(STEP_FROM_MV) and millivolts >= STEP_UP_AT_MV[step + 1]
        return step + 1 if up else step
    while step > 0 and millivolts < STEP_FROM_MV[step]:
        step -= 1
    return step


def interval_s(activity, month, step):
    rows = EVERY_S[activity]
    return rows[min(step, len(rows) - 1)][month - 1 if 1 <= month <= 12 else 0]
