/* Drives the firmware's side of the link for the tests.
 *
 * `driver serve`: requests on standard input (u32 length, then the request), answers on standard
 * output (i32 result, then as many bytes if it is positive).
 * `driver stream FRAMES RESTART_AT`: a sensor unit on its standard input and output: waits for the
 * host's hello, then sends; at frame RESTART_AT it is cut in mid-frame and starts anew.
 * Buffers are of exactly the size that is named, so that the sanitizers see every byte beyond.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "seafret_link.h"

static const uint8_t *at;
static const uint8_t *end;

static void take(void *into, size_t size) {
    if ((size_t)(end - at) < size) {
        fprintf(stderr, "request too short\n");
        exit(2);
    }
    if (size > 0) {
        memcpy(into, at, size);
    }
    at += size;
}

static uint8_t take_u8(void) { uint8_t n; take(&n, sizeof n); return n; }
static uint16_t take_u16(void) { uint16_t n; take(&n, sizeof n); return n; }
static uint32_t take_u32(void) { uint32_t n; take(&n, sizeof n); return n; }
static uint64_t take_u64(void) { uint64_t n; take(&n, sizeof n); return n; }
static double take_f64(void) { double n; take(&n, sizeof n); return n; }

static void *copied(size_t size) {
    void *copy = malloc(size > 0 ? size : 1);
    take(copy, size);
    return copy;
}

static char *take_text(void) {
    uint16_t length = take_u16();
    char *text = malloc((size_t)length + 1);
    take(text, length);
    text[length] = '\0';
    return text;
}

static void answer(int32_t result, const uint8_t *bytes) {
    fwrite(&result, sizeof result, 1, stdout);
    if (result > 0) {
        fwrite(bytes, 1, (size_t)result, stdout);
    }
    fflush(stdout);
}

static int32_t do_hello(seafret_link *link, uint8_t *out, size_t room) {
    seafret_hello hello;
    seafret_channel channels[32];
    hello.capabilities = take_u32();
    hello.rate_numerator = take_u32();
    hello.rate_denominator = take_u32();
    hello.nominal_millihz = take_u32();
    hello.frame_rows = take_u16();
    hello.channel_count = take_u8();
    char *firmware = take_text();
    hello.firmware = firmware;
    hello.channels = channels;
    for (uint8_t i = 0; i < hello.channel_count; i++) {
        channels[i].kind = take_u8();
        channels[i].end_codes = take_u8();
        channels[i].gain = take_f64();
        channels[i].offset = take_f64();
        channels[i].raw_min = (int32_t)take_u32();
        channels[i].raw_max = (int32_t)take_u32();
        channels[i].name = take_text();
        channels[i].phase = take_text();
    }
    int32_t result = seafret_put_hello(link, &hello, out, room);
    for (uint8_t i = 0; i < hello.channel_count; i++) {
        free((char *)channels[i].name);
        free((char *)channels[i].phase);
    }
    free(firmware);
    return result;
}

static int32_t do_samples(seafret_link *link, uint8_t *out, size_t room) {
    seafret_samples samples;
    memset(&samples, 0, sizeof samples);
    samples.counter = take_u64();
    samples.status = take_u8();
    samples.channels = take_u8();
    samples.fault_channels = take_u16();
    samples.rows = take_u16();
    uint8_t bytes_each = take_u8();
    uint8_t masked = take_u8();
    size_t count = (size_t)samples.rows * samples.channels;
    void *values = copied(count * bytes_each);
    void *mask = masked ? copied((count + 7) / 8) : NULL;
    samples.i16 = bytes_each == 2 ? values : NULL;
    samples.i32 = bytes_each == 4 ? values : NULL;
    samples.missing = mask;
    int32_t result = seafret_put_samples(link, &samples, out, room);
    free(values);
    free(mask);
    return result;
}

static int32_t do_anchor(seafret_link *link, uint8_t *out, size_t room) {
    seafret_anchor anchor;
    anchor.counter = take_u64();
    anchor.utc_ns = take_u64();
    anchor.error_ns = take_u64();
    anchor.source = take_u8();
    anchor.synchronised = take_u8();
    return seafret_put_anchor(link, &anchor, out, room);
}

static int32_t do_slow(seafret_link *link, uint8_t *out, size_t room) {
    seafret_slow readings[256];
    uint64_t counter = take_u64();
    uint8_t count = take_u8();
    for (uint8_t i = 0; i < count; i++) {
        readings[i].code = take_u8();
        readings[i].reading = (int32_t)take_u32();
    }
    return seafret_put_slow(link, counter, readings, count, out, room);
}

static int32_t do_bye(seafret_link *link, uint8_t *out, size_t room) {
    uint64_t counter = take_u64();
    char *reason = take_text();
    int32_t result = seafret_put_bye(link, counter, reason, out, room);
    free(reason);
    return result;
}

/* Answers with the hellos heard (6 bytes each), then refused and skipped. */
static void do_hear(void) {
    seafret_ear ear;
    seafret_host host;
    size_t length = (size_t)(end - at);
    uint8_t *heard = malloc(length + 8); /* a frame takes more bytes than are reported of it */
    size_t used = 0;
    memset(&ear, 0, sizeof ear);
    while (at < end) {
        if (seafret_hear(&ear, *at++, &host)) {
            heard[used++] = host.major;
            heard[used++] = host.minor;
            memcpy(heard + used, &host.capabilities, 4);
            used += 4;
        }
    }
    memcpy(heard + used, &ear.refused, 4);
    memcpy(heard + used + 4, &ear.skipped, 4);
    answer((int32_t)(used + 8), heard);
    free(heard);
}

static void do_request(void) {
    seafret_link link;
    uint8_t what = take_u8();
    if (what == 'e') {
        do_hear();
        return;
    }
    link.boot = take_u32();
    link.sequence = take_u32();
    size_t room = take_u32();
    uint32_t before = link.sequence;
    uint8_t *out = malloc(room > 0 ? room : 1);
    int32_t result = what == 'h'   ? do_hello(&link, out, room)
                     : what == 's' ? do_samples(&link, out, room)
                     : what == 'a' ? do_anchor(&link, out, room)
                     : what == 'l' ? do_slow(&link, out, room)
                                   : do_bye(&link, out, room);
    if (link.sequence - before != (result > 0 ? 1u : 0u)) {
        fprintf(stderr, "the sequence moved wrongly\n");
        exit(2);
    }
    answer(result, out);
    free(out);
}

static int serve(void) {
    uint32_t length;
    while (fread(&length, sizeof length, 1, stdin) == 1) {
        uint8_t *request = malloc(length > 0 ? length : 1);
        if (fread(request, 1, length, stdin) != length) {
            return 2;
        }
        at = request;
        end = request + length;
        do_request();
        free(request);
    }
    return 0;
}

enum { ROWS = 120, CHANNELS = 3 };

static void send_bytes(const uint8_t *bytes, int32_t length) {
    while (length > 0) {
        ssize_t sent = write(STDOUT_FILENO, bytes, (size_t)length);
        if (sent <= 0) {
            exit(3);
        }
        bytes += sent;
        length -= (int32_t)sent;
    }
}

static int32_t samples_frame(seafret_link *link, uint64_t counter, uint8_t *out, size_t room) {
    int16_t codes[ROWS * CHANNELS];
    seafret_samples samples;
    memset(&samples, 0, sizeof samples);
    for (uint64_t i = 0; i < ROWS * CHANNELS; i++) {
        uint64_t mixed = (counter * CHANNELS + i) * 0x9E3779B97F4A7C15ull;
        codes[i] = (int16_t)(uint16_t)(mixed >> 48);
    }
    samples.counter = counter;
    samples.channels = CHANNELS;
    samples.rows = ROWS;
    samples.i16 = codes;
    return seafret_put_samples(link, &samples, out, room);
}

static void run(uint32_t boot, uint64_t start, int frames, int cut) {
    static const seafret_channel channels[CHANNELS] = {
        {SEAFRET_CURRENT, 3, 0.01, 0.0, -32768, 32767, "north", "A"},
        {SEAFRET_CURRENT, 0, 0.02, -0.5, 0, 0, "south", "B"},
        {SEAFRET_VOLTAGE, 2, 0.001, 0.0, 0, 32767, "bus", "A"}};
    static const seafret_hello hello = {
        SEAFRET_CAN_HEAR_HOST, 48000, 10, 50000, ROWS, CHANNELS, channels, "1.2.3"};
    uint8_t out[SEAFRET_WIRE_BYTES(SEAFRET_SAMPLES_BODY_BYTES(ROWS, CHANNELS, 2))];
    seafret_link link = {boot, 0};
    seafret_anchor anchor = {start, 1700000000000000000u, 1000, SEAFRET_GNSS, 1};
    seafret_slow slow[2] = {{SEAFRET_RH_CPCT, 8800}, {SEAFRET_AIR_CDEGC, -250}};
    send_bytes(out, seafret_put_hello(&link, &hello, out, sizeof out));
    send_bytes(out, seafret_put_anchor(&link, &anchor, out, sizeof out));
    send_bytes(out, seafret_put_slow(&link, start, slow, 2, out, sizeof out));
    for (int n = 0; n < frames; n++) {
        send_bytes(out, samples_frame(&link, start + (uint64_t)n * ROWS, out, sizeof out));
    }
    int32_t length = cut ? samples_frame(&link, start + (uint64_t)frames * ROWS, out, sizeof out) / 2
                         : seafret_put_bye(&link, start, "the test is over", out, sizeof out);
    send_bytes(out, length);
}

static int stream(int frames, int restart_at) {
    seafret_ear ear;
    seafret_host host;
    uint8_t byte;
    memset(&ear, 0, sizeof ear);
    do {
        if (read(STDIN_FILENO, &byte, 1) != 1) {
            return 3;
        }
    } while (!seafret_hear(&ear, byte, &host));
    if (restart_at > 0) {
        run(7, 50000, restart_at, 1);
        frames -= restart_at;
    }
    run(8, 0, frames, 0);
    return 0;
}

int main(int count, char **words) {
    if (count == 2 && strcmp(words[1], "serve") == 0) {
        return serve();
    }
    if (count == 4 && strcmp(words[1], "stream") == 0) {
        return stream(atoi(words[2]), atoi(words[3]));
    }
    fprintf(stderr, "driver serve | driver stream FRAMES RESTART_AT\n");
    return 64;
}
