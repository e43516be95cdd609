// Just enough of a sketch's surroundings to build any_board.ino: Timer 1 counts
// 4 µs steps for micros(), analogRead waits for its conversion.
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdlib.h>

#include "../uart.h"

const uint8_t A0 = 0;
static volatile uint16_t wraps;
ISR(TIMER1_OVF_vect) { wraps++; }

unsigned long micros() {
  uint8_t s = SREG;
  cli();
  uint16_t t = TCNT1, w = wraps;
  if ((TIFR1 & _BV(TOV1)) && t < 0x8000) w++;
  SREG = s;
  return ((unsigned long)w << 18) + ((unsigned long)t << 2);
}

int analogRead(uint8_t pin) {
  ADMUX = _BV(REFS0) | pin;
  ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
  while (ADCSRA & _BV(ADSC)) {}
  return ADC;
}

struct SerialPort {
  void begin(unsigned long) { uart_begin(); }
  void print(const char *s) { while (*s) uart_put(*s++); }
  void print(int x) { char t[7]; print(itoa(x, t, 10)); }
  template <class T> void println(T x) { print(x); print("\r\n"); }
} Serial;

#include "../sketch/any_board/any_board.ino"

int main() {
  TCCR1B = _BV(CS11) | _BV(CS10);  // 16 MHz / 64
  TIMSK1 = _BV(TOIE1);
  sei();
  setup();
  for (;;) loop();
}
