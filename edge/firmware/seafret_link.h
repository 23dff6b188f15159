/* Serial link of a seafret sensor unit: frames into a buffer of the caller's, and the host's hello.
 *
 * C99; no allocation, no globals that change, no dependency beyond stdint, stddef and string.
 * Layout: edge/sense/frames.py. Integration, link budget and cautions: README.md beside this file.
 *
 * Every function that makes a frame returns its length in bytes, delimiters included, or a negative
 * reason; on a negative reason nothing was sent and the sequence has not moved.
 */
#ifndef SEAFRET_LINK_H
#define SEAFRET_LINK_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define SEAFRET_PROTOCOL_MAJOR 1u
#define SEAFRET_PROTOCOL_MINOR 0u

#define SEAFRET_CHANNELS_MAX 16u    /* more are refused: SEAFRET_ERR_RANGE */
#define SEAFRET_TEXT_BYTES_MAX 200u /* longer texts are refused: SEAFRET_ERR_RANGE */
#define SEAFRET_BODY_BYTES_MAX 32768u /* longer bodies are refused: SEAFRET_ERR_LONG */

/* Room that a frame with a body of n bytes needs at most: CRC, COBS, two delimiters. */
#define SEAFRET_WIRE_BYTES(n) ((size_t)(n) + 4u + ((size_t)(n) + 4u) / 254u + 1u + 2u)

/* Body of a samples frame without a mask of missing values. */
#define SEAFRET_SAMPLES_BODY_BYTES(rows, channels, bytes_each) \
    (25u + (size_t)(rows) * (size_t)(channels) * (size_t)(bytes_each))

#define SEAFRET_ERR_ROOM (-1)  /* the caller's buffer is too small: see SEAFRET_WIRE_BYTES */
#define SEAFRET_ERR_RANGE (-2) /* an argument is outside what the link carries */
#define SEAFRET_ERR_LONG (-3)  /* the frame would be longer than any receiver takes: fewer rows */

/* Capabilities in the hello. Upper 16 bits: a receiver must know them to read the stream. */
#define SEAFRET_CAN_SLOW_READINGS 1u
#define SEAFRET_CAN_HEAR_HOST 2u /* answers a host hello with a hello */

/* Status bits of a samples frame. */
#define SEAFRET_OVERRANGE 1u      /* a value stands at an end code */
#define SEAFRET_SENSOR_FAULT 2u   /* the channels of fault_channels are open, short or dead */
#define SEAFRET_SUPPLY_DIP 4u     /* the supply left its band */
#define SEAFRET_BUFFER_OVERRUN 8u /* samples were lost before this frame; the counter jumps */

enum seafret_kind { SEAFRET_CURRENT = 1, SEAFRET_VOLTAGE = 2 };

enum seafret_source {
    SEAFRET_LOCAL = 0, /* an undisciplined clock */
    SEAFRET_NTP = 1,
    SEAFRET_PTP = 2,
    SEAFRET_GNSS = 3,
    SEAFRET_RECORD = 4 /* the time stamp of a stored recording */
};

/* Slow readings: what, and in which unit. */
enum seafret_reading {
    SEAFRET_RH_CPCT = 1,         /* relative humidity, 0.01 % */
    SEAFRET_AIR_CDEGC = 2,       /* air, 0.01 degC */
    SEAFRET_ENCLOSURE_CDEGC = 3, /* inside the enclosure, 0.01 degC */
    SEAFRET_SUPPLY_MV = 4,       /* supply, mV */
    SEAFRET_LINE_STATUS = 5,     /* 0 unknown, 1 in service, 2 out of service */
    SEAFRET_DEW_POINT_CDEGC = 6, /* 0.01 degC */
    SEAFRET_RAIN_UM = 7,         /* since the last reading, um */
    SEAFRET_WIND_MM_S = 8,       /* mean, mm/s */
    SEAFRET_WIND_FROM_CDEG = 9,  /* 0.01 degree from north, clockwise */
    SEAFRET_UV_MW_M2 = 10        /* mW/m2 */
};

/* One per stream. boot: another number at each start, and whenever anything in the hello changes.
 * sequence: start it at 0; the functions move it on. */
typedef struct {
    uint32_t boot;
    uint32_t sequence;
} seafret_link;

/* raw * gain + offset is mA or kV at primary. end_codes: bit 0 raw_min is given, bit 1 raw_max. */
typedef struct {
    uint8_t kind;
    uint8_t end_codes;
    double gain;
    double offset;
    int32_t raw_min;
    int32_t raw_max;
    const char *name;
    const char *phase;
} seafret_channel;

/* Sampling rate is rate_numerator / rate_denominator Hz, exactly (timer clock over its divider).
 * frame_rows: rows of a usual samples frame, at least 25 ms of them. */
typedef struct {
    uint32_t capabilities;
    uint32_t rate_numerator;
    uint32_t rate_denominator;
    uint32_t nominal_millihz; /* 50000 or 60000 */
    uint16_t frame_rows;
    uint8_t channel_count;
    const seafret_channel *channels;
    const char *firmware;
} seafret_hello;

/* counter: of the first row; it counts every conversion since the start, sent or not.
 * Exactly one of i16 and i32 is given: rows * channels values, interleaved by row.
 * missing: NULL, or one bit a value in the same order, lowest bit first, 1 = absent. */
typedef struct {
    uint64_t counter;
    uint8_t status;
    uint8_t channels;
    uint16_t fault_channels;
    uint16_t rows;
    const int16_t *i16;
    const int32_t *i32;
    const uint8_t *missing;
} seafret_samples;

/* UTC of the sample `counter`; send it before the first sample that it dates. */
typedef struct {
    uint64_t counter;
    uint64_t utc_ns; /* since 1970-01-01 */
    uint64_t error_ns;
    uint8_t source;
    uint8_t synchronised;
} seafret_anchor;

typedef struct {
    uint8_t code;
    int32_t reading;
} seafret_slow;

int32_t seafret_put_hello(seafret_link *link, const seafret_hello *hello, uint8_t *out, size_t room);
int32_t seafret_put_samples(seafret_link *link, const seafret_samples *samples, uint8_t *out,
                            size_t room);
int32_t seafret_put_anchor(seafret_link *link, const seafret_anchor *anchor, uint8_t *out,
                           size_t room);
int32_t seafret_put_slow(seafret_link *link, uint64_t counter, const seafret_slow *readings,
                         uint8_t count, uint8_t *out, size_t room);
int32_t seafret_put_bye(seafret_link *link, uint64_t counter, const char *reason, uint8_t *out,
                        size_t room);

/* CRC-32 over one more byte; starts at 0xFFFFFFFF, and its complement is sent. Exported for a test
 * of a hardware CRC against it. */
uint32_t seafret_crc32_next(uint32_t crc, uint8_t byte);

/* What the host says of itself (seafret_ear.c). */
typedef struct {
    uint8_t major;
    uint8_t minor;
    uint32_t capabilities;
} seafret_host;

#define SEAFRET_HEARD_BYTES_MAX 64u /* a longer frame from the host is dropped and counted */

/* Set to zero before the first byte. refused: frames that were malformed, too long or of a wrong
 * CRC. skipped: whole frames of a type that is not known here. */
typedef struct {
    uint8_t held[SEAFRET_HEARD_BYTES_MAX];
    uint8_t used;
    uint8_t overlong;
    uint32_t refused;
    uint32_t skipped;
} seafret_ear;

/* Takes one byte from the host. 1: `host` holds a new hello: answer with seafret_put_hello. 0: not
 * yet. */
int seafret_hear(seafret_ear *ear, uint8_t byte, seafret_host *host);

#ifdef __cplusplus
}
#endif

#endif
