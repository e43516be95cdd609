// The board's functions on a simulated Cortex-M0: counts and losses (int32 and uint16,
// little-endian, eight bytes a sample) from the file "counts", lines to the file "lines", both by
// semihosting. At the end "instructions N samples M" goes to the console.
#include <stdint.h>
#include <string.h>
#include BOARD

int main(void);

__attribute__((naked)) static void start(void) { __asm__("bl main\n"); }
__attribute__((section(".vectors"), used)) static void (*const vectors[2])(void) = {(void (*)(void))0x20004000, start};

static uint32_t host(uint32_t operation, const void *block) {
  register uint32_t r0 __asm__("r0") = operation;
  register const void *r1 __asm__("r1") = block;
  __asm__ volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
  return r0;
}

static uint32_t in, out, samples;
static uint8_t block[1024];
static uint32_t at = sizeof block, filled = sizeof block;
static char text[1024];
static uint32_t used;
static uint64_t spent;
static uint32_t entered;

// The processor's timer 0 at 16 MHz: with the simulator counting an instruction a
// nanosecond, a tick is 62.5 instructions. (Nordic nRF51 Series Reference Manual, chapter 18.)
#define TIMER(offset) (*(volatile uint32_t *)(0x40008000u + (offset)))

static uint32_t ticks(void) {
  TIMER(0x040) = 1;  // capture
  return TIMER(0x540);
}

static uint32_t open_file(const char *name, uint32_t mode) {
  uint32_t a[3] = {(uint32_t)(uintptr_t)name, mode, (uint32_t)strlen(name)};
  return host(0x01, a);
}

static void flush(void) {
  uint32_t a[3] = {out, (uint32_t)(uintptr_t)text, used};
  host(0x05, a);
  used = 0;
}

static char *decimal(char *p, uint32_t v) {
  char d[10];
  int n = 0;
  do d[n++] = (char)('0' + v % 10);
  while (v /= 10);
  while (n) *p++ = d[--n];
  return p;
}

void board_begin(void) {
  TIMER(0x508) = 3;  // 32 bits
  TIMER(0x510) = 0;
  TIMER(0x000) = 1;  // start
  in = open_file("counts", 1);
  out = open_file("lines", 5);
}

int32_t board_sample(uint16_t *lost) {
  if (samples) spent += ticks() - entered;
  if (at == filled) {
    uint32_t a[3] = {in, (uint32_t)(uintptr_t)block, sizeof block};
    filled = (uint32_t)sizeof block - host(0x06, a);
    at = 0;
    if (filled == 0) {
      flush();
      char say[64], *p = say;
      memcpy(p, "instructions ", 13);
      p = decimal(p + 13, (uint32_t)(spent * 125 / 2 / samples));
      memcpy(p, " samples ", 9);
      p = decimal(p + 9, samples);
      *p++ = '\n';
      *p = 0;
      host(0x04, say);
      uint32_t end[2] = {0x20026, 0};
      host(0x18, (const void *)(uintptr_t)end[0]);
    }
  }
  int32_t count;
  memcpy(&count, block + at, 4);
  memcpy(lost, block + at + 4, 2);
  at += 8;
  samples++;
  entered = ticks();
  return count;
}

static uint8_t light;
void board_light(uint8_t on) { light = on; }

void board_write(const char *line) {
  uint32_t n = (uint32_t)strlen(line);
  if (used + n + 1 > sizeof text) flush();
  if (*line != '#') text[used++] = light ? '*' : ' ';
  memcpy(text + used, line, n);
  used += n;
}
