#ifdef OW_REAL
/* OW_REAL is float or double: values are in their units, and not-a-number is "no reading". */
typedef OW_REAL owi_number;
typedef OW_REAL owi_wide;
static inline OW_REAL owi_not_a_number(void)
{
    const volatile OW_REAL zero = 0;
    return zero / zero;
}
#define OW_ABSENT owi_not_a_number()
#define OW_ABSENT_WIDE owi_not_a_number()
/* Whole parts, rounded half away from zero; one beyond the limits stands for all that lies beyond. */
static inline int64_t owi_parts(OW_REAL value, OW_REAL per_unit, int64_t least, int64_t most)
{
    const OW_REAL scaled = value * per_unit;
    int64_t parts;
    OW_REAL rest;
    if (value != value) {
        return INT64_MIN;
    }
    if (scaled <= (OW_REAL)(least - 1)) {
        return least - 1;
    }
    if (scaled >= (OW_REAL)(most + 1)) {
        return most + 1;
    }
    parts = (int64_t)scaled;
    rest = scaled - (OW_REAL)parts;
    return parts + (rest >= (OW_REAL)0.5) - (rest <= (OW_REAL)-0.5);
}
static inline int32_t owi_narrow(int64_t parts)
{
    return parts == INT64_MIN ? INT32_MIN : (int32_t)parts;
}
#define OW_PARTS(value, per_unit, least, most) owi_narrow(owi_parts((value), (OW_REAL)(per_unit), (least), (most)))
#define OW_PARTS_WIDE(value, per_unit, least, most) owi_parts((value), (OW_REAL)(per_unit), (least), (most))
#else
/* Values are whole parts of their units, as the comment at each says: no floating point is needed. */
typedef int32_t owi_number;
typedef int64_t owi_wide;
#define OW_ABSENT INT32_MIN
#define OW_ABSENT_WIDE INT64_MIN
#define OW_PARTS(value, per_unit, least, most) (value)
#define OW_PARTS_WIDE(value, per_unit, least, most) (value)
#endif

/* "No reading" of a counter, and of a flag or choice. */
#define OW_ABSENT_COUNT UINT32_MAX
#define OW_ABSENT_WORD 255u

/* Why bytes are no message. */
#define OW_WRONG_PORT (-1)
#define OW_WRONG_LENGTH (-2)
#define OW_WRONG_VERSION (-3)
#define OW_WRONG_PADDING (-4)
#define OW_WRONG_CODE (-5)

typedef char owi_check_byte_is_octet[((uint8_t)-1 == 255u) ? 1 : -1];

enum owi_state { OW_STATE_INSIDE, OW_STATE_ABSENT, OW_STATE_BELOW, OW_STATE_ABOVE, OW_STATE_WRONG };

struct owi_reading {
    enum owi_state state;
    uint32_t code;
};

static inline uint32_t owi_ones(uint8_t bits)
{
    return UINT32_MAX >> (32u - bits);
}

static inline void owi_clear(uint8_t *bytes, size_t length)
{
    while (length > 0u) {
        bytes[--length] = 0;
    }
}

/* Most significant bit first. */
static inline void owi_put(uint8_t *bytes, uint16_t offset, uint8_t bits, uint32_t code)
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
static inline unsigned owi_put_number(uint8_t *bytes, uint16_t offset, uint8_t bits, uint32_t code)
{
    owi_put(bytes, offset, bits, code);
    return code - (owi_ones(bits) - 2u) < 2u;
}

static inline uint32_t owi_get(const uint8_t *bytes, uint16_t offset, uint8_t bits)
{
    uint32_t code = 0;
    while (bits > 0u) {
        --bits;
        code = (code << 1) | ((uint32_t)(bytes[offset >> 3] >> (7u - (offset & 7u))) & 1u);
        ++offset;
    }
    return code;
}

static inline struct owi_reading owi_read(const uint8_t *bytes, uint16_t offset, uint8_t bits, uint32_t last, int saturates)
{
    struct owi_reading reading;
    const uint32_t ones = owi_ones(bits);
    reading.state = OW_STATE_INSIDE;
    reading.code = owi_get(bytes, offset, bits);
    if (reading.code > last) {
        reading.state = reading.code == ones ? OW_STATE_ABSENT
            : !saturates ? OW_STATE_WRONG
            : reading.code == ones - 1u ? OW_STATE_ABOVE
            : reading.code == ones - 2u ? OW_STATE_BELOW
            : OW_STATE_WRONG;
        reading.code = reading.state == OW_STATE_ABOVE ? last : 0u;
    }
    return reading;
}

static inline int owi_outside(struct owi_reading reading)
{
    return reading.state == OW_STATE_BELOW || reading.state == OW_STATE_ABOVE;
}

/* A word, and a count: what they can't say is absent; a count goes round. */
static inline uint32_t owi_word(uint8_t value, uint32_t last, uint32_t absent)
{
    return value <= last ? value : absent;
}

static inline uint32_t owi_count(uint32_t value, uint32_t last, uint32_t absent)
{
    return value == OW_ABSENT_COUNT ? absent : value & last;
}
