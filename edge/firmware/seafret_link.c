/* See seafret_link.h. The frame is coded as it is written: no second buffer, one pass. */
#include "seafret_link.h"

#include <string.h>

/* Doubles travel as IEEE 754 binary64; a compiler whose double is shorter stops here. */
typedef char seafret_double_has_64_bits[sizeof(double) == 8 ? 1 : -1];

enum { TYPE_HELLO = 1, TYPE_SAMPLES = 2, TYPE_ANCHOR = 3, TYPE_SLOW = 4, TYPE_BYE = 5 };
enum { STATUS_MISSING_MASK = 16 };

/* CRC-32 (reflected polynomial 0xEDB88320), four bits at a time: 64 bytes of table. */
static const uint32_t CRC_NIBBLE[16] = {
    0x00000000u, 0x1DB71064u, 0x3B6E20C8u, 0x26D930ACu, 0x76DC4190u, 0x6B6B51F4u,
    0x4DB26158u, 0x5005713Cu, 0xEDB88320u, 0xF00F9344u, 0xD6D6A3E8u, 0xCB61B38Cu,
    0x9B64C2B0u, 0x86D3D2D4u, 0xA00AE278u, 0xBDBDF21Cu};

uint32_t seafret_crc32_next(uint32_t crc, uint8_t byte) {
    crc ^= byte;
    crc = (crc >> 4) ^ CRC_NIBBLE[crc & 15u];
    return (crc >> 4) ^ CRC_NIBBLE[crc & 15u];
}

/* used may pass room: nothing is written there, and the end says so. run: COBS code so far. */
typedef struct {
    uint8_t *out;
    size_t room;
    size_t used;
    size_t code_at;
    uint32_t run;
    uint32_t crc;
    size_t body;
} writer;

static void set_byte(writer *w, size_t at, uint8_t byte) {
    if (at < w->room) {
        w->out[at] = byte;
    }
}

static void open_group(writer *w) {
    w->code_at = w->used++;
    w->run = 1;
}

static void close_group(writer *w) { set_byte(w, w->code_at, (uint8_t)w->run); }

static void cobs_byte(writer *w, uint8_t byte) {
    if (w->run == 0xFFu) { /* a full group stays open until it is known that more follows */
        close_group(w);
        open_group(w);
    }
    if (byte == 0) {
        close_group(w);
        open_group(w);
        return;
    }
    set_byte(w, w->used++, byte);
    w->run++;
}

static void put_u8(writer *w, uint8_t byte) {
    w->crc = seafret_crc32_next(w->crc, byte);
    w->body++;
    cobs_byte(w, byte);
}

static void put_u16(writer *w, uint16_t number) {
    put_u8(w, (uint8_t)(number & 0xFFu));
    put_u8(w, (uint8_t)(number >> 8));
}

static void put_u32(writer *w, uint32_t number) {
    put_u16(w, (uint16_t)(number & 0xFFFFu));
    put_u16(w, (uint16_t)(number >> 16));
}

static void put_u64(writer *w, uint64_t number) {
    put_u32(w, (uint32_t)(number & 0xFFFFFFFFu));
    put_u32(w, (uint32_t)(number >> 32));
}

static void put_f64(writer *w, double number) {
    uint64_t bits;
    memcpy(&bits, &number, sizeof bits);
    put_u64(w, bits);
}

static void put_text(writer *w, const char *text) {
    size_t length = strlen(text);
    put_u8(w, (uint8_t)length);
    for (size_t i = 0; i < length; i++) {
        put_u8(w, (uint8_t)text[i]);
    }
}

static int text_fits(const char *text) {
    return text != NULL && strlen(text) <= SEAFRET_TEXT_BYTES_MAX;
}

static void begin(writer *w, const seafret_link *link, uint8_t type, uint8_t *out, size_t room) {
    memset(w, 0, sizeof *w);
    w->out = out;
    w->room = room;
    w->crc = 0xFFFFFFFFu;
    set_byte(w, w->used++, 0);
    open_group(w);
    put_u8(w, type);
    put_u32(w, link->sequence);
    put_u32(w, link->boot);
}

static int32_t finish(writer *w, seafret_link *link) {
    size_t body = w->body;
    put_u32(w, ~w->crc);
    close_group(w);
    set_byte(w, w->used++, 0);
    if (body > SEAFRET_BODY_BYTES_MAX) {
        return SEAFRET_ERR_LONG;
    }
    if (w->used > w->room) {
        return SEAFRET_ERR_ROOM;
    }
    link->sequence++;
    return (int32_t)w->used;
}

static int channel_fits(const seafret_channel *channel) {
    return (channel->kind == SEAFRET_CURRENT || channel->kind == SEAFRET_VOLTAGE) &&
           text_fits(channel->name) && channel->name[0] != '\0' && text_fits(channel->phase);
}

static void put_channel(writer *w, const seafret_channel *channel) {
    put_u8(w, channel->kind);
    put_u8(w, channel->end_codes);
    put_f64(w, channel->gain);
    put_f64(w, channel->offset);
    put_u32(w, (uint32_t)channel->raw_min);
    put_u32(w, (uint32_t)channel->raw_max);
    put_text(w, channel->name);
    put_text(w, channel->phase);
}

int32_t seafret_put_hello(seafret_link *link, const seafret_hello *hello, uint8_t *out,
                          size_t room) {
    writer w;
    if (hello->channel_count == 0 || hello->channel_count > SEAFRET_CHANNELS_MAX ||
        hello->rate_denominator == 0 || hello->frame_rows == 0 || !text_fits(hello->firmware)) {
        return SEAFRET_ERR_RANGE;
    }
    for (uint8_t i = 0; i < hello->channel_count; i++) {
        if (!channel_fits(&hello->channels[i])) {
            return SEAFRET_ERR_RANGE;
        }
    }
    begin(&w, link, TYPE_HELLO, out, room);
    put_u8(&w, SEAFRET_PROTOCOL_MAJOR);
    put_u8(&w, SEAFRET_PROTOCOL_MINOR);
    put_u32(&w, hello->capabilities);
    put_u32(&w, hello->rate_numerator);
    put_u32(&w, hello->rate_denominator);
    put_u32(&w, hello->nominal_millihz);
    put_u16(&w, hello->frame_rows);
    put_u8(&w, hello->channel_count);
    put_text(&w, hello->firmware);
    for (uint8_t i = 0; i < hello->channel_count; i++) {
        put_channel(&w, &hello->channels[i]);
    }
    return finish(&w, link);
}

int32_t seafret_put_samples(seafret_link *link, const seafret_samples *samples, uint8_t *out,
                            size_t room) {
    writer w;
    uint32_t count = (uint32_t)samples->rows * samples->channels;
    uint8_t bytes_each = samples->i16 != NULL ? 2u : 4u;
    if (count == 0 || samples->channels > SEAFRET_CHANNELS_MAX ||
        (samples->i16 == NULL) == (samples->i32 == NULL)) {
        return SEAFRET_ERR_RANGE;
    }
    if (SEAFRET_SAMPLES_BODY_BYTES(samples->rows, samples->channels, bytes_each) >
        SEAFRET_BODY_BYTES_MAX) {
        return SEAFRET_ERR_LONG;
    }
    begin(&w, link, TYPE_SAMPLES, out, room);
    put_u64(&w, samples->counter);
    put_u8(&w, (uint8_t)((samples->status & ~(unsigned)STATUS_MISSING_MASK) |
                         (samples->missing != NULL ? (unsigned)STATUS_MISSING_MASK : 0u)));
    put_u8(&w, bytes_each);
    put_u8(&w, samples->channels);
    put_u8(&w, 0);
    put_u16(&w, samples->fault_channels);
    put_u16(&w, samples->rows);
    for (uint32_t i = 0; i < count; i++) {
        if (samples->i16 != NULL) {
            put_u16(&w, (uint16_t)samples->i16[i]);
        } else {
            put_u32(&w, (uint32_t)samples->i32[i]);
        }
    }
    for (uint32_t i = 0; samples->missing != NULL && i < (count + 7u) / 8u; i++) {
        put_u8(&w, samples->missing[i]);
    }
    return finish(&w, link);
}

int32_t seafret_put_anchor(seafret_link *link, const seafret_anchor *anchor, uint8_t *out,
                           size_t room) {
    writer w;
    begin(&w, link, TYPE_ANCHOR, out, room);
    put_u64(&w, anchor->counter);
    put_u64(&w, anchor->utc_ns);
    put_u64(&w, anchor->error_ns);
    put_u8(&w, anchor->source);
    put_u8(&w, anchor->synchronised != 0);
    return finish(&w, link);
}

int32_t seafret_put_slow(seafret_link *link, uint64_t counter, const seafret_slow *readings,
                         uint8_t count, uint8_t *out, size_t room) {
    writer w;
    begin(&w, link, TYPE_SLOW, out, room);
    put_u64(&w, counter);
    put_u8(&w, count);
    for (uint8_t i = 0; i < count; i++) {
        put_u8(&w, readings[i].code);
        put_u32(&w, (uint32_t)readings[i].reading);
    }
    return finish(&w, link);
}

int32_t seafret_put_bye(seafret_link *link, uint64_t counter, const char *reason, uint8_t *out,
                        size_t room) {
    writer w;
    if (!text_fits(reason)) {
        return SEAFRET_ERR_RANGE;
    }
    begin(&w, link, TYPE_BYE, out, room);
    put_u64(&w, counter);
    put_text(&w, reason);
    return finish(&w, link);
}
