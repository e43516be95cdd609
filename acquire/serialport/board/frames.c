// Lamp clip and chest leads, frames: A0 and A1 at 1 kHz, ten samples a frame, at
// 115200 baud.
//
// With electrodes on a person: batteries only, for board and computer, and nothing
// plugged into the mains. Never with an implant. A learning aid, not a medical device.
//
// Timer 1 starts the conversion of A0 every 250 ticks of 4 µs; its end starts A1,
// 108 µs later. Two buffers take turns: one fills while the loop sends the other.
// When the loop is late the samples are dropped, but the sequence goes on, so
// that the reader counts them.
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stdint.h>

#include "frames.h"
#include "uart.h"

#define CHANNELS 2
#define SAMPLES 10
#define RATE_MILLIHERTZ 1000000UL
#define VOLTS_PER_COUNT (5.0f / 1024)

typedef struct {
  uint32_t sequence;
  uint8_t samples[SAMPLES * CHANNELS * 2];
  volatile uint8_t full;
} buffer_t;

static buffer_t buffers[2];
static uint8_t filling, at, channel, dropping;  // of the interrupts
static uint32_t sequence;

ISR(TIMER1_COMPA_vect) { ADCSRA |= _BV(ADSC); }

ISR(ADC_vect) {
  uint16_t count = ADC;
  buffer_t *b = &buffers[filling];
  if (channel == 0) {
    ADMUX = _BV(REFS0) | 1;
    ADCSRA |= _BV(ADSC);
    if (at == 0) {
      dropping = b->full;
      if (!dropping) b->sequence = sequence;
    }
  } else {
    ADMUX = _BV(REFS0);
    sequence++;
  }
  channel ^= 1;
  if (dropping) return;
  b->samples[at++] = (uint8_t)count;
  b->samples[at++] = (uint8_t)(count >> 8);
  if (at == sizeof b->samples) {
    b->full = 1;
    filling ^= 1;
    at = 0;
  }
}

static void send_info(void) {
  static uint8_t body[128];
  uint8_t *b = body;
  *b++ = FRAME_INFO;
  *b++ = CHANNELS;
  b = frame_u32(b, RATE_MILLIHERTZ);
  b = frame_channel(b, FRAME_PULSE, VOLTS_PER_COUNT, 0, 0, 1023, "pulse", "V");
  b = frame_channel(b, FRAME_ECG, VOLTS_PER_COUNT, 0, 0, 1023, "chest", "V");
  frame_send(body, (uint16_t)(b - body), uart_put);
}

static void send_samples(buffer_t *b) {
  static uint8_t body[8 + sizeof b->samples + 2];
  body[0] = FRAME_SAMPLES;
  body[1] = CHANNELS;
  body[2] = 2;
  body[3] = SAMPLES;
  memcpy(frame_u32(body + 4, b->sequence), b->samples, sizeof b->samples);
  b->full = 0;
  frame_send(body, sizeof body - 2, uart_put);
}

int main(void) {
  uart_begin();
  ADMUX = _BV(REFS0);
  ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
  OCR1A = 249;
  TCCR1B = _BV(WGM12) | _BV(CS11) | _BV(CS10);
  set_sleep_mode(SLEEP_MODE_IDLE);
  sei();
  uart_put(0);
  send_info();
  TIMSK1 = _BV(OCIE1A);
  uint8_t next = 0, since_info = 0;
  for (;;) {
    while (!buffers[next].full) sleep_mode();
    send_samples(&buffers[next]);
    next ^= 1;
    if (++since_info == 100) {  // once a second
      since_info = 0;
      send_info();
    }
  }
}
