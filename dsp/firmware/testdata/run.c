// Reads counts from standard input, writes what path.h makes of them.
#include <stdio.h>
#include "path.h"

int main(void) {
  static pulsewright_state s;
  long count;
  while (scanf("%ld", &count) == 1) printf("%ld\n", (long)pulsewright_path(&s, (int32_t)count));
  return 0;
}
