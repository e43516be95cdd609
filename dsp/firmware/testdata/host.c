// The board's functions on this machine: "count lost" lines in, the program's lines out.
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include BOARD

void board_begin(void) {}

int32_t board_sample(uint16_t *lost) {
  int32_t count;
  if (scanf("%" SCNd32 " %" SCNu16, &count, lost) != 2) exit(0);
  return count;
}

static uint8_t light;
void board_light(uint8_t on) { light = on; }

void board_write(const char *text) {
  if (*text != '#') putchar(light ? '*' : ' ');
  fputs(text, stdout);
}
