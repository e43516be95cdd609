// Just enough of a sketch's surroundings to build and run lamp_clip.ino in the
// simulator.
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdlib.h>

#include "../uart.h"

typedef uint8_t byte;
#define noInterrupts() cli()
#define interrupts() sei()

struct SerialPort {
  void begin(unsigned long) { uart_begin(); }
  void print(const char *s) { while (*s) uart_put(*s++); }
  void print(char c) { uart_put(c); }
  void print(unsigned long x) { char t[11]; print(ultoa(x, t, 10)); }
  void print(unsigned int x) { print((unsigned long)x); }
  template <class T> void println(T x) { print(x); print("\r\n"); }
} Serial;

#include "../sketch/lamp_clip/lamp_clip.ino"

int main() {
  sei();
  setup();
  for (;;) loop();
}
