#ifdef WINTER_REAL
/* WINTER_REAL is float or double: values are in their units, and not-a-number is "no reading". */
#define WINTER_SCALED(name, scale) name
typedef WINTER_REAL winter_inner_number;
typedef WINTER_REAL winter_inner_wide;
static inline WINTER_REAL winter_inner_not_a_number(void)
{
    const volatile WINTER_REAL zero = 0;
    return zero / zero;
}
#define WINTER_ABSENT winter_inner_not_a_number()
#define WINTER_ABSENT_WIDE winter_inner_not_a_number()
/* Whole parts, rounded half away from zero; one beyond the limits stands for all that lies beyond. */
static inline int64_t winter_inner_parts(WINTER_REAL value, WINTER_REAL per_unit, int64_t least, int64_t most)
{
    const WINTER_REAL scaled = value * per_unit;
    int64_t parts;
    WINTER_REAL rest;
    if (value != value) {
        return INT64_MIN;
    }
    if (scaled <= (WINTER_REAL)(least - 1)) {
        return least - 1;
    }
    if (scaled >= (WINTER_REAL)(most + 1)) {
        return most + 1;
    }
    parts = (int64_t)scaled;
    rest = scaled - (WINTER_REAL)parts;
    return parts + (rest >= (WINTER_REAL)0.5) - (rest <= (WINTER_REAL)-0.5);
}
static inline int32_t winter_inner_narrow(int64_t parts)
{
    return parts == INT64_MIN ? INT32_MIN : (int32_t)parts;
}
#define WINTER_PARTS(value, per_unit, least, most) winter_inner_narrow(winter_inner_parts((value), (WINTER_REAL)(per_unit), (least), (most)))
#define WINTER_PARTS_WIDE(value, per_unit, least, most) winter_inner_parts((value), (WINTER_REAL)(per_unit), (least), (most))
#else
/* Values are integers: what is called air_x100 is the air times 100, so that 21.5 is 2150. */
#define WINTER_SCALED(name, scale) name##_x##scale
typedef int32_t winter_inner_number;
typedef int64_t winter_inner_wide;
#define WINTER_ABSENT INT32_MIN
#define WINTER_ABSENT_WIDE INT64_MIN
#define WINTER_PARTS(value, per_unit, least, most) (value)
#define WINTER_PARTS_WIDE(value, per_unit, least, most) (value)
#endif

/* "No reading" of a counter, and of a flag or choice. */
#define WINTER_ABSENT_COUNT UINT32_MAX
#define WINTER_ABSENT_WORD 255u

/* Why bytes are no message. */
#define WINTER_WRONG_PORT (-1)
#define WINTER_WRONG_LENGTH (-2)
#define WINTER_WRONG_VERSION (-3)
#define WINTER_WRONG_PADDING (-4)
#define WINTER_WRONG_CODE (-5)

typedef char winter_inner_check_byte_is_octet[((uint8_t)-1 == 255u) ? 1 : -1];

enum winter_inner_state { WINTER_STATE_INSIDE, WINTER_STATE_ABSENT, WINTER_STATE_BELOW, WINTER_STATE_ABOVE, WINTER_STATE_WRONG };

struct winter_inner_reading {
    enum winter_inner_state state;
    uint32_t code;
};

static inline uint32_t winter_inner_ones(uint8_t bits)
{
    return UINT32_MAX >> (32u - bits);
}

static inline void winter_inner_clear(uint8_t *bytes, size_t length)
{
    while (length > 0u) {
        bytes[--length] = 0;
    }
}

/* Most significant bit first. */
static inline void winter_inner_put(uint8_t *bytes, uint16_t offset, uint8_t bits, uint32_t code)
{
    while (bits > 0u) {
        --bits;
        if (((code >> bits) & 1u) != 0u) {
            bytes[offset >> 3] = (uint8_t)(bytes[offset >> 3] | (0x80u >> (offset & 7u)));
        }
        ++offset;
    }
}

/* Says whether the reading lay outside its range. */
static inline unsigned winter_inner_put_number(uint8_t *bytes, uint16_t offset, uint8_t bits, uint32_t code)
{
    winter_inner_put(bytes, offset, bits, code);
    return code - (winter_inner_ones(bits) - 2u) < 2u;
}

static inline uint32_t winter_inner_get(const uint8_t *bytes, uint16_t offset, uint8_t bits)
{
    uint32_t code = 0;
    while (bits > 0u) {
        --bits;
        code = (code << 1) | ((uint32_t)(bytes[offset >> 3] >> (7u - (offset & 7u))) & 1u);
        ++offset;
    }
    return code;
}

static inline struct winter_inner_reading winter_inner_read(const uint8_t *bytes, uint16_t offset, uint8_t bits, uint32_t last, int saturates)
{
    struct winter_inner_reading reading;
    const uint32_t ones = winter_inner_ones(bits);
    reading.state = WINTER_STATE_INSIDE;
    reading.code = winter_inner_get(bytes, offset, bits);
    if (reading.code > last) {
        reading.state = reading.code == ones ? WINTER_STATE_ABSENT
            : !saturates ? WINTER_STATE_WRONG
            : reading.code == ones - 1u ? WINTER_STATE_ABOVE
            : reading.code == ones - 2u ? WINTER_STATE_BELOW
            : WINTER_STATE_WRONG;
        reading.code = reading.state == WINTER_STATE_ABOVE ? last : 0u;
    }
    return reading;
}

static inline int winter_inner_outside(struct winter_inner_reading reading)
{
    return reading.state == WINTER_STATE_BELOW || reading.state == WINTER_STATE_ABOVE;
}

/* A word, and a count: what they can't say is absent; a count goes round. */
static inline uint32_t winter_inner_word(uint8_t value, uint32_t last, uint32_t absent)
{
    return value <= last ? value : absent;
}

static inline uint32_t winter_inner_count(uint32_t value, uint32_t last, uint32_t absent)
{
    return value == WINTER_ABSENT_COUNT ? absent : value & last;
}
