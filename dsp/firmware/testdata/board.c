// On an ATmega328P at 16 MHz: counts.h through path.h, each output and its cycles on
// the UART, then sleep without interrupts, which ends a simulation.
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/sleep.h>
#include <stdio.h>
#include "counts.h"
#include "path.h"

static int put(char c, FILE *f) {
  (void)f;
  while (!(UCSR0A & (1 << UDRE0))) {}
  UDR0 = c;
  return 0;
}

int main(void) {
  static FILE out = FDEV_SETUP_STREAM(put, NULL, _FDEV_SETUP_WRITE);
  static pulsewright_state s;
  stdout = &out;
  UCSR0B = 1 << TXEN0;
  UBRR0 = 0;
  TCCR1B = 1 << CS10; // one count a cycle
  for (uint16_t i = 0; i < sizeof counts / sizeof *counts; i++) {
    int32_t count = (int32_t)pgm_read_dword(&counts[i]);
    TCNT1 = 0;
    int32_t y = pulsewright_path(&s, count);
    uint16_t used = TCNT1;
    printf("%ld %u\n", y, used);
  }
  cli();
  sleep_mode();
  return 0;
}
