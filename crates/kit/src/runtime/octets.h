
/* Bytes as they are after a bit that is 0; absent is all ones. */
static inline void winter_inner_put_octets(uint8_t *bytes, uint16_t offset, const uint8_t *octets, uint16_t count, int present)
{
    uint16_t index;
    winter_inner_put(bytes, offset, 1, present ? 0u : 1u);
    for (index = 0; index < count; ++index) {
        winter_inner_put(bytes, (uint16_t)(offset + 1u + 8u * index), 8, present ? octets[index] : 255u);
    }
}

static inline enum winter_inner_state winter_inner_read_octets(const uint8_t *bytes, uint16_t offset, uint8_t *octets, uint16_t count)
{
    const uint32_t first = winter_inner_get(bytes, offset, 1);
    int all_ones = 1;
    uint16_t index;
    for (index = 0; index < count; ++index) {
        octets[index] = (uint8_t)winter_inner_get(bytes, (uint16_t)(offset + 1u + 8u * index), 8);
        all_ones = all_ones && octets[index] == 255u;
    }
    return first == 0u ? WINTER_STATE_INSIDE : all_ones ? WINTER_STATE_ABSENT : WINTER_STATE_WRONG;
}
