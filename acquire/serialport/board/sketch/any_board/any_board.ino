// Any board: prints what stands on A0, one number a line, 250 lines a second.
//
// With electrodes on a person: batteries only, for board and computer, and nothing
// plugged into the mains. Never with an implant. A learning aid, not a medical device.
//
// Load it, then choose the board's port in Pulsewright; the baud rate is found by
// trying. Enter under "Set volts" what one count is worth: the converter's reference
// and bits, such as 5 V and 10 bits, or 3.3 V and 12 bits.
//
// With electrodes, print "ecg" in setup instead of "pulse". For two sensors: print A0,
// a comma, and A1; and "pulse,ecg" in setup.

const unsigned long PERIOD_US = 4000;  // 250 Hz
unsigned long next;

void setup() {
  Serial.begin(115200);
  Serial.println("# rate 250 Hz");  // may be left out: it is measured anyway
  Serial.println("pulse");          // a name; may be left out
  next = micros();
}

void loop() {
  while ((long)(micros() - next) < 0) {}  // also right when micros() wraps
  next += PERIOD_US;
  Serial.println(analogRead(A0));
}
