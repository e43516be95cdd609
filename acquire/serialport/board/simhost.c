// simhost FIRMWARE.elf WAVE|-: runs a firmware for the ATmega328P in real time.
//
// WAVE holds one line per sample, the millivolts at A0, A1 …; it repeats. A
// conversion of A0 goes on to the next line. The UART comes out on a
// pseudo-terminal whose path is printed first. Bytes nobody reads are dropped, as
// on a wire. Once a simulated second a line of figures follows: cycles, samples,
// samples per second by the simulated clock, and cycles awake per sample.
#define _GNU_SOURCE
#include <fcntl.h>
#include <simavr/avr_adc.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static avr_t *avr;
static int terminal;
static double (*wave)[8];
static size_t lines, line;
static uint64_t samples, first_cycle, last_cycle, asleep;

static void on_trigger(avr_irq_t *irq, uint32_t value, void *param) {
  union { uint32_t v; avr_adc_mux_t mux; } u = {.v = value};
  int channel = u.mux.src & 7;
  if (channel == 0) {
    if (samples++ == 0) first_cycle = avr->cycle;
    else line = (line + 1) % lines;
    last_cycle = avr->cycle;
  }
  avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, channel), (uint32_t)wave[line][channel]);
}

static void on_byte(avr_irq_t *irq, uint32_t value, void *param) {
  uint8_t c = (uint8_t)value;
  if (write(terminal, &c, 1) != 1) { /* nobody reads */ }
}

static void no_sleep(avr_t *a, avr_cycle_count_t n) { asleep += n + 1; }  // paced below

static void quiet(avr_t *a, const int level, const char *format, va_list ap) {
  if (level <= LOG_ERROR) vfprintf(stderr, format, ap);
}

int main(int argc, char **argv) {
  elf_firmware_t firmware = {0};
  avr_global_logger_set(quiet);
  if (argc != 3 || elf_read_firmware(argv[1], &firmware)) return fprintf(stderr, "simhost FIRMWARE.elf WAVE|-\n"), 2;
  FILE *in = strcmp(argv[2], "-") ? fopen(argv[2], "r") : stdin;
  if (!in) return perror(argv[2]), 1;
  for (char text[256]; fgets(text, sizeof text, in); lines++) {
    wave = realloc(wave, (lines + 1) * sizeof *wave);
    memset(wave[lines], 0, sizeof *wave);
    char *s = text;
    for (int i = 0; i < 8; i++) wave[lines][i] = strtod(s, &s);
  }
  if (!lines) return fprintf(stderr, "%s: no line of millivolts\n", argv[2]), 1;

  if ((terminal = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK)) < 0 || grantpt(terminal) || unlockpt(terminal)) return perror("pseudo-terminal"), 1;
  int slave = open(ptsname(terminal), O_RDWR | O_NOCTTY);  // held, so that readers may come and go
  struct termios raw;
  tcgetattr(slave, &raw);
  cfmakeraw(&raw);
  tcsetattr(slave, TCSANOW, &raw);

  avr = avr_make_mcu_by_name("atmega328p");
  avr_init(avr);
  avr_load_firmware(avr, &firmware);
  avr->frequency = 16000000;
  avr->vcc = avr->avcc = avr->aref = 5000;
  avr->sleep = no_sleep;
  uint32_t flags = 0;
  avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);  // no copy on standard output, no sleeping
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_trigger, NULL);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte, NULL);
  printf("%s\n", ptsname(terminal));
  fflush(stdout);

  struct timespec start, now;
  clock_gettime(CLOCK_MONOTONIC, &start);
  uint64_t pause = 16000, report = 16000000;
  for (;;) {
    int state = avr_run(avr);
    if (state == cpu_Done || state == cpu_Crashed) return fprintf(stderr, "the firmware ended\n"), 1;
    if (avr->cycle >= pause) {  // every simulated millisecond
      pause = avr->cycle + 16000;
      clock_gettime(CLOCK_MONOTONIC, &now);
      int64_t ahead = (int64_t)(avr->cycle * 125 / 2) - ((now.tv_sec - start.tv_sec) * 1000000000LL + now.tv_nsec - start.tv_nsec);
      if (ahead > 0) nanosleep(&(struct timespec){ahead / 1000000000, ahead % 1000000000}, NULL);
      if (getppid() == 1) return 0;  // whoever started this is gone
    }
    if (avr->cycle >= report && samples > 1) {
      report += 16000000;
      printf("cycles %llu samples %llu rate %.6f awake %.1f\n", (unsigned long long)avr->cycle, (unsigned long long)samples,
             (samples - 1) * 16e6 / (double)(last_cycle - first_cycle), (double)(avr->cycle - asleep) / samples);
      fflush(stdout);
    }
  }
}
