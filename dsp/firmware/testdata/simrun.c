// simrun FIRMWARE.elf: runs a program for the ATmega328P as fast as it goes. Standard
// input holds the converter's counts, 16 bits little-endian; each conversion takes the
// next. The UART goes to standard output, a star before each line while PB5 is high.
// At the end a line of figures goes to standard error: samples, the shortest and the
// longest time between two conversions in cycles, cycles awake, and the deepest stack.
#define _GNU_SOURCE
#include <simavr/avr_adc.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static avr_t *avr;
static uint64_t samples, last, shortest = UINT64_MAX, longest, asleep;
static int light, ended, fresh = 1;
static uint32_t count;

static void on_trigger(avr_irq_t *irq, uint32_t value, void *param) {
  uint8_t b[2];
  if (fread(b, 1, 2, stdin) != 2) {
    ended = 1;
    return;
  }
  count = b[0] | (uint32_t)b[1] << 8;
  if (samples++) {
    uint64_t d = avr->cycle - last;
    if (samples > 2 && d < shortest) shortest = d;
    if (d > longest) longest = d;
  }
  last = avr->cycle;
  // The simulator's converter gives millivolts times 1023 over 5000, rounded down.
  avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, 0), (count * 5000 + 1022) / 1023);
}

static void on_byte(avr_irq_t *irq, uint32_t value, void *param) {
  if (fresh) putchar(light ? '*' : ' ');
  fresh = value == '\n';
  putchar((int)value);
}

static void on_light(avr_irq_t *irq, uint32_t value, void *param) { light = value; }

static void no_sleep(avr_t *a, avr_cycle_count_t n) { asleep += n; }

static void quiet(avr_t *a, const int level, const char *format, va_list ap) {
  if (level <= LOG_ERROR) vfprintf(stderr, format, ap);
}

int main(int argc, char **argv) {
  elf_firmware_t firmware = {0};
  avr_global_logger_set(quiet);
  if (argc != 2 || elf_read_firmware(argv[1], &firmware)) return fprintf(stderr, "simrun FIRMWARE.elf\n"), 2;
  avr = avr_make_mcu_by_name("atmega328p");
  avr_init(avr);
  avr_load_firmware(avr, &firmware);
  avr->frequency = 16000000;
  avr->vcc = avr->avcc = avr->aref = 5000;
  avr->sleep = no_sleep;
  uint32_t flags = 0;
  avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_trigger, NULL);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte, NULL);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 5), on_light, NULL);
  uint16_t deepest = UINT16_MAX;
  uint64_t end = UINT64_MAX;
  while (avr->cycle < end) {
    int state = avr_run(avr);
    if (state == cpu_Done || state == cpu_Crashed) return fprintf(stderr, "the firmware ended\n"), 1;
    uint16_t sp = (uint16_t)(avr->data[R_SPL] | avr->data[R_SPH] << 8);
    if (samples && sp < deepest) deepest = sp;
    if (ended && end == UINT64_MAX) end = avr->cycle + 1600000;  // what is still to be printed
  }
  fprintf(stderr, "samples %llu shortest %llu longest %llu awake %.1f stack %u\n", (unsigned long long)samples, (unsigned long long)shortest,
          (unsigned long long)longest, (double)(avr->cycle - asleep) / (double)samples, (unsigned)(avr->ramend - deepest));
  return 0;
}
