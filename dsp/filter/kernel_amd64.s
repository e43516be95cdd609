//go:build !purego

#include "textflag.h"

// Offsets of quad's fields; the second pair is 16 further on.
#define B0 0
#define G1 32
#define D1 64
#define G2 96
#define A2 128
#define S1 160
#define S2 192
#define Y  224

// PAIR: v is the input of both lanes; y becomes the output, s1 and s2 go on.
//	y  = b0 v + s1
//	s1 = d1 s1 + (s2 + g1 v)
//	s2 = (s2 + g2 v) − a2 s1
#define PAIR(off, v, y, s1, s2, t, u) \
	MOVUPD (B0+off)(AX), y \
	MULPD  v, y            \
	ADDPD  s1, y           \
	MOVUPD (G1+off)(AX), t \
	MULPD  v, t            \
	ADDPD  s2, t           \
	MOVUPD (G2+off)(AX), u \
	MULPD  v, u            \
	ADDPD  u, s2           \
	MOVUPD (A2+off)(AX), u \
	MULPD  s1, u           \
	SUBPD  u, s2           \
	MOVUPD (D1+off)(AX), u \
	MULPD  u, s1           \
	ADDPD  t, s1

// func pipe4(q *quad, dst, src *float64, n int)
TEXT ·pipe4(SB), NOSPLIT, $0-32
	MOVQ q+0(FP), AX
	MOVQ dst+8(FP), DI
	MOVQ src+16(FP), SI
	MOVQ n+24(FP), CX

	MOVUPD (S1+0)(AX), X0
	MOVUPD (S2+0)(AX), X1
	MOVUPD (S1+16)(AX), X2
	MOVUPD (S2+16)(AX), X3
	MOVUPD (Y+0)(AX), X4   // outputs of the first pair
	MOVUPD (Y+16)(AX), X5  // and of the second
	TESTQ CX, CX
	JLE   done

loop:
	// First pair: the new sample and what lane 0 gave for the one before.
	MOVSD    (SI), X6
	UNPCKLPD X4, X6
	PAIR(0, X6, X4, X0, X1, X8, X9)

	// Second pair: what the first's lane 1 gives now, and its own lane 0 before.
	MOVAPD X4, X7
	SHUFPD $1, X5, X7
	PAIR(16, X7, X5, X2, X3, X10, X11)
	MOVHPD X5, (DI)

	ADDQ $8, SI
	ADDQ $8, DI
	DECQ CX
	JNZ  loop

done:
	MOVUPD X0, (S1+0)(AX)
	MOVUPD X1, (S2+0)(AX)
	MOVUPD X2, (S1+16)(AX)
	MOVUPD X3, (S2+16)(AX)
	MOVUPD X4, (Y+0)(AX)
	MOVUPD X5, (Y+16)(AX)
	RET
