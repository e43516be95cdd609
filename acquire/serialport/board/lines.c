// Lamp clip, lines: A0 every 4 ms as "t_us,pulse" at 115200 baud.
//
// With electrodes on a person: batteries only, for board and computer, and nothing
// plugged into the mains. Never with an implant. A learning aid, not a medical device.
//
// Timer 1 starts a conversion every 1000 ticks of 4 µs; the conversion's end puts
// it into a small queue; the loop prints. A sample that finds the queue full is
// left out, and its t_us is missing from the lines.
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stdint.h>
#include <stdlib.h>

#include "uart.h"

#define PERIOD_US 4000UL
#define QUEUE 8  // a power of two

typedef struct {
  uint32_t t_us;
  uint16_t count;
} sample_t;

static volatile sample_t queue[QUEUE];
static volatile uint8_t head, tail;
static volatile uint32_t now_us;  // wraps after 71.6 minutes, which the reader knows

ISR(TIMER1_COMPA_vect) { ADCSRA |= _BV(ADSC); }

ISR(ADC_vect) {
  uint16_t count = ADC;
  uint8_t next = (head + 1) & (QUEUE - 1);
  if (next != tail) {
    queue[head].t_us = now_us;
    queue[head].count = count;
    head = next;
  }
  now_us += PERIOD_US;
}

static void print(const char *s) {
  while (*s) uart_put(*s++);
}

int main(void) {
  uart_begin();
  ADMUX = _BV(REFS0);                                          // AVCC is the reference; A0
  ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);  // 125 kHz: 104 µs
  OCR1A = 999;
  TCCR1B = _BV(WGM12) | _BV(CS11) | _BV(CS10);                 // clear on match, 16 MHz / 64
  TIMSK1 = _BV(OCIE1A);
  set_sleep_mode(SLEEP_MODE_IDLE);
  sei();
  print("# lamp clip\r\n# rate 250 Hz\r\nt_us,pulse\r\n");
  for (;;) {
    while (tail == head) sleep_mode();
    char text[11];
    print(ultoa(queue[tail].t_us, text, 10));
    uart_put(',');
    print(utoa(queue[tail].count, text, 10));
    print("\r\n");
    tail = (tail + 1) & (QUEUE - 1);
  }
}
