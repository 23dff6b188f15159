/* What the host says, byte by byte. Firmware that does not listen leaves this file out. */
#include "seafret_link.h"

enum { TYPE_HOST_HELLO = 0x81, HEAD_BYTES = 9, HOST_HELLO_BYTES = 6, CRC_BYTES = 4 };

/* COBS in place; the length of what it held, or 0 where it is malformed. */
static size_t cobs_open(uint8_t *held, size_t length) {
    size_t from = 0;
    size_t to = 0;
    while (from < length) {
        size_t code = held[from++];
        if (code - 1u > length - from) {
            return 0;
        }
        for (size_t i = 1; i < code; i++) {
            held[to++] = held[from++];
        }
        if (code < 0xFFu && from < length) {
            held[to++] = 0;
        }
    }
    return to;
}

static uint32_t get_u32(const uint8_t *at) {
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

/* The length of a checked body in `held`, or 0. */
static size_t checked_body(uint8_t *held, size_t length) {
    uint32_t crc = 0xFFFFFFFFu;
    size_t opened = cobs_open(held, length);
    if (opened < HEAD_BYTES + CRC_BYTES) {
        return 0;
    }
    for (size_t i = 0; i < opened - CRC_BYTES; i++) {
        crc = seafret_crc32_next(crc, held[i]);
    }
    return ~crc == get_u32(held + opened - CRC_BYTES) ? opened - CRC_BYTES : 0;
}

int seafret_hear(seafret_ear *ear, uint8_t byte, seafret_host *host) {
    size_t length = ear->used;
    int overlong = ear->overlong;
    if (byte != 0) {
        if (length < SEAFRET_HEARD_BYTES_MAX) {
            ear->held[ear->used++] = byte;
        } else {
            ear->overlong = 1;
        }
        return 0;
    }
    ear->used = 0;
    ear->overlong = 0;
    if (length == 0) {
        return 0;
    }
    length = overlong ? 0 : checked_body(ear->held, length);
    if (length == 0) {
        ear->refused++;
        return 0;
    }
    if (ear->held[0] != TYPE_HOST_HELLO || length < HEAD_BYTES + HOST_HELLO_BYTES) {
        ear->skipped++;
        return 0;
    }
    host->major = ear->held[HEAD_BYTES];
    host->minor = ear->held[HEAD_BYTES + 1];
    host->capabilities = get_u32(ear->held + HEAD_BYTES + 2);
    return 1;
}
