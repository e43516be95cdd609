/* Prints the least time, in seconds, that libedf needs to read every sample of a file,
   ten seconds of each channel in turn: open, read, close, so many times. */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <edflib.h>

static double now(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec + t.tv_nsec * 1e-9;
}

int main(int argc, char **argv)
{
	static struct edf_hdr_struct h;
	static int b[1 << 20];
	double best = 1e9;
	for (int turns = argc > 2 ? atoi(argv[2]) : 0; turns > 0; turns--) {
		double start = now();
		if (edfopen_file_readonly(argv[1], &h, EDFLIB_READ_ALL_ANNOTATIONS))
			return 1;
		int done = 0, n = 10 * h.signalparam[0].smp_in_datarecord;
		for (;; done += n) {
			int got = 0;
			for (int c = 0; c < h.edfsignals; c++)
				got = edfread_digital_samples(h.handle, c, n, b);
			if (got < n)
				break;
		}
		edfclose_file(h.handle);
		if (now() - start < best)
			best = now() - start;
	}
	printf("%.9f\n", best);
	return 0;
}
