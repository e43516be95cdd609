// What beginners write: read A0, print it, wait a little. The loop takes as long as its
// printing does, and after SLOWER lines it waits 5 ms instead of 2. Built with -DSTAMP it
// prints the time beside each value, with -DDISPLAY it stands still for 80 ms each second, as a loop that
// draws on a display does. For the tests only: sampling by a timer is better (lines.c).
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>
#include <stdlib.h>
#include <util/delay.h>

#include "uart.h"

#define SLOWER 3600UL

static volatile uint16_t overflows;

ISR(TIMER1_OVF_vect) { overflows++; }

// micros is the time since the start in microseconds, in steps of 4, as boards have it.
static uint32_t micros(void) {
  uint8_t flags = SREG;
  cli();
  uint16_t ticks = TCNT1, high = overflows;
  if ((TIFR1 & _BV(TOV1)) && ticks < 0x8000) high++;
  SREG = flags;
  return (((uint32_t)high << 16) + ticks) * 4;
}

static void print(const char *s) {
  while (*s) uart_put(*s++);
}

int main(void) {
  uart_begin();
  ADMUX = _BV(REFS0);
  ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
  TCCR1B = _BV(CS11) | _BV(CS10);
  TIMSK1 = _BV(TOIE1);
  sei();
  uint32_t drawn = 0;
  for (uint32_t n = 0;; n++) {
    char text[12];
    uint32_t now = micros();
    ADCSRA |= _BV(ADSC);
    while (ADCSRA & _BV(ADSC)) {
    }
    uint16_t count = ADC;
#ifdef STAMP
    print("t_us:");
    print(ultoa(now, text, 10));
    print(",pulse:");
#endif
    print(utoa(count, text, 10));
    print("\r\n");
    _delay_ms(2);
    if (n >= SLOWER) _delay_ms(3);
#ifdef DISPLAY
    if (now - drawn >= 1000000UL) {
      drawn = now;
      _delay_ms(80);
    }
#else
    (void)drawn;
    (void)now;
#endif
  }
}
