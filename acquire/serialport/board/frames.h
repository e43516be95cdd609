// Frames for Pulsewright (see ../FRAMES.md) in portable C99: no allocation, no
// tables. A body is built in a buffer with 2 bytes of room at its end, then
// frame_send adds the CRC and passes the COBS-coded frame to put, byte by byte.
#ifndef PULSEWRIGHT_FRAMES_H
#define PULSEWRIGHT_FRAMES_H

#include <stdint.h>
#include <string.h>

#define FRAME_SAMPLES 0x11
#define FRAME_INFO 0x12
#define FRAME_TEXT 0x13

enum { FRAME_UNKNOWN, FRAME_PULSE, FRAME_ECG, FRAME_OTHER };

// frame_crc is CRC-16/CCITT-FALSE: polynomial 0x1021, start 0xFFFF.
static inline uint16_t frame_crc(const uint8_t *b, uint16_t n) {
  uint16_t crc = 0xFFFF;
  while (n--) {
    uint8_t x = (uint8_t)(crc >> 8) ^ *b++;
    x ^= x >> 4;
    crc = (uint16_t)((crc << 8) ^ ((uint16_t)x << 12) ^ ((uint16_t)x << 5) ^ x);
  }
  return crc;
}

static inline void frame_send(uint8_t *body, uint16_t n, void (*put)(uint8_t)) {
  uint16_t crc = frame_crc(body, n);
  body[n++] = (uint8_t)crc;
  body[n++] = (uint8_t)(crc >> 8);
  uint16_t from = 0;
  for (;;) {
    uint16_t run = from;  // a run of bytes that are not zero, 254 at most
    while (run < n && body[run] != 0 && run - from < 254) run++;
    uint8_t length = (uint8_t)(run - from);
    put(length + 1);
    while (from < run) put(body[from++]);
    if (from == n) break;
    if (length < 254) from++;  // the zero the code stands for
  }
  put(0);
}

static inline uint8_t *frame_u32(uint8_t *b, uint32_t x) {
  for (uint8_t i = 0; i < 4; i++, x >>= 8) *b++ = (uint8_t)x;
  return b;
}

static inline uint8_t *frame_float(uint8_t *b, float x) {
  uint32_t bits;
  memcpy(&bits, &x, 4);
  return frame_u32(b, bits);
}

static inline uint8_t *frame_text(uint8_t *b, const char *s) {
  uint8_t n = (uint8_t)strlen(s);
  *b++ = n;
  memcpy(b, s, n);
  return b + n;
}

// frame_channel writes a channel's description and returns the end.
static inline uint8_t *frame_channel(uint8_t *b, uint8_t kind, float per_count, float offset, int32_t low, int32_t high,
                                     const char *name, const char *unit) {
  *b++ = kind;
  b = frame_float(b, per_count);
  b = frame_float(b, offset);
  b = frame_u32(b, (uint32_t)low);
  b = frame_u32(b, (uint32_t)high);
  b = frame_text(b, name);
  return frame_text(b, unit);
}

#endif
