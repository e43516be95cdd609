// Lamp clip: prints the finger sensor on A0 as "t_us,pulse", 250 lines a second.
//
// With electrodes on a person: batteries only, for board and computer, and nothing
// plugged into the mains. Never with an implant. A learning aid, not a medical device.
//
// For boards with an ATmega328P at 16 MHz. Load it, then open the port with
// baud=115200 and, when the board runs on 5 V, bits=10 and reference=5.
//
// Timer 1 starts every conversion, so the rate is exact even while printing.

const unsigned long PERIOD_US = 4000;  // 250 Hz
const byte QUEUE = 8;                  // a power of two

volatile unsigned int counts[QUEUE];
volatile unsigned long times[QUEUE];
volatile byte head = 0, tail = 0;
volatile unsigned long nowUs = 0;

ISR(TIMER1_COMPA_vect) { ADCSRA |= _BV(ADSC); }

ISR(ADC_vect) {
  unsigned int count = ADC;
  byte next = (head + 1) % QUEUE;
  if (next != tail) {
    counts[head] = count;
    times[head] = nowUs;
    head = next;
  }
  nowUs += PERIOD_US;
}

void setup() {
  Serial.begin(115200);
  Serial.println("# rate 250 Hz");
  Serial.println("t_us,pulse");
  noInterrupts();
  ADMUX = _BV(REFS0);  // the supply is the reference; A0
  ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
  TCCR1A = 0;
  TCCR1B = _BV(WGM12) | _BV(CS11) | _BV(CS10);  // 16 MHz / 64, cleared on match
  TCNT1 = 0;
  OCR1A = 999;  // 1000 ticks of 4 µs
  TIMSK1 = _BV(OCIE1A);
  interrupts();
}

void loop() {
  if (tail == head) return;
  Serial.print(times[tail]);
  Serial.print(',');
  Serial.println(counts[tail]);
  tail = (tail + 1) % QUEUE;
}
