
/* What is sent for a reading before the newest: the difference of their codes. */
static inline uint32_t winter_inner_difference(uint32_t newest, uint32_t earlier, uint8_t width, uint32_t last, uint8_t bits, int counts)
{
    const uint32_t ones = winter_inner_ones(width);
    const uint32_t absent = winter_inner_ones(bits);
    const uint32_t most = absent - 3u;
    int64_t difference;
    if (newest == ones || earlier == ones) {
        return absent;
    }
    if (counts) {
        const uint32_t since = (newest - earlier) & last;
        return since > most ? absent - 2u : most - since;
    }
    if (earlier > last) {
        return absent - (ones - earlier);
    }
    if (newest > last) {
        newest = newest == ones - 1u ? last : 0u;
    }
    difference = (int64_t)earlier - (int64_t)newest + (int64_t)(most / 2u);
    return difference < 0 ? absent - 2u : difference > (int64_t)most ? absent - 1u : (uint32_t)difference;
}

static inline struct winter_inner_reading winter_inner_read_earlier(const uint8_t *bytes, uint16_t offset, uint8_t bits, struct winter_inner_reading newest, uint32_t last, int counts)
{
    const uint32_t most = winter_inner_ones(bits) - 3u;
    struct winter_inner_reading earlier = winter_inner_read(bytes, offset, bits, most, 1);
    int64_t code;
    if (earlier.state == WINTER_STATE_ABSENT || earlier.state == WINTER_STATE_WRONG) {
        return earlier;
    }
    code = (int64_t)newest.code + (int64_t)earlier.code - (int64_t)(counts ? most : most / 2u);
    if (newest.state == WINTER_STATE_ABSENT || (counts && earlier.state == WINTER_STATE_ABOVE)) {
        earlier.state = WINTER_STATE_WRONG;
    } else if (counts) {
        code = code < 0 ? code + (int64_t)((((uint64_t)most / ((uint64_t)last + 1u)) + 1u) * ((uint64_t)last + 1u)) : code;
        earlier.code = (uint32_t)code & last;
    } else if (code < 0 || code > (int64_t)last) {
        earlier.code = code < 0 ? 0u : last;
        earlier.state = earlier.state == WINTER_STATE_INSIDE ? WINTER_STATE_WRONG : earlier.state;
    } else {
        earlier.code = (uint32_t)code;
    }
    return earlier;
}
