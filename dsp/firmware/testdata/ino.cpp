// Just enough of what surrounds an .ino file to build it for the ATmega328P: analogRead waits
// for its conversion, Serial for each byte, as written by interrupt on a true board.
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>

const uint8_t A0 = 0, LED_BUILTIN = 13, OUTPUT = 1, HIGH = 1, LOW = 0;

static void noInterrupts() { cli(); }
static void interrupts() { sei(); }
static void pinMode(uint8_t, uint8_t) { DDRB |= _BV(DDB5); }

static void digitalWrite(uint8_t, uint8_t on) {
  if (on) PORTB |= _BV(PORTB5);
  else PORTB &= (uint8_t)~_BV(PORTB5);
}

static int analogRead(uint8_t pin) {
  ADMUX = (uint8_t)(_BV(REFS0) | pin);
  ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
  while (ADCSRA & _BV(ADSC)) {
  }
  return ADC;
}

struct SerialPort {
  void begin(unsigned long baud) {
    UCSR0A = _BV(U2X0);
    UBRR0 = (uint16_t)((F_CPU / 4 / baud - 1) / 2);
    UCSR0B = _BV(TXEN0);
  }
  void print(const char *s) {
    for (; *s; s++) {
      while (!(UCSR0A & _BV(UDRE0))) {
      }
      UDR0 = (uint8_t)*s;
    }
  }
};
static SerialPort Serial;

#include BOARD

int main() {
  sei();
  setup();
  for (;;) loop();
}
