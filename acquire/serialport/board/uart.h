// Interrupt-driven transmitter for the ATmega328P's UART 0. Include it once.
#ifndef PULSEWRIGHT_UART_H
#define PULSEWRIGHT_UART_H

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>

static volatile uint8_t uart_ring[256], uart_head, uart_tail;

// uart_begin sets 115200 baud, 8 bits, no parity, one stop bit, transmit only.
// At 16 MHz the rate is 2.1 % high, as on every such board, which is allowed.
static void uart_begin(void) {
  UBRR0 = 16;
  UCSR0A = _BV(U2X0);
  UCSR0B = _BV(TXEN0);
}

// uart_put queues a byte; it waits while 255 are queued.
static void uart_put(uint8_t c) {
  while ((uint8_t)(uart_head + 1) == uart_tail) {
  }
  uart_ring[uart_head] = c;
  uart_head++;
  UCSR0B |= _BV(UDRIE0);
}

ISR(USART_UDRE_vect) {
  if (uart_head == uart_tail) {
    UCSR0B &= ~_BV(UDRIE0);
  } else {
    UDR0 = uart_ring[uart_tail];
    uart_tail++;
  }
}

#endif
