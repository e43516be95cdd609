//go:build !purego

#include "textflag.h"

// Offsets of octet's fields; the second vector is 32 further on.
#define OB0 0
#define OG1 64
#define OD1 128
#define OG2 192
#define OA2 256
#define OS1 320
#define OS2 384
#define OY1 448
#define OY2 512

// FOUR: v is the input of four lanes; y becomes the output, s1 and s2 go on.
//	y  = b0 v + s1
//	s1 = d1 s1 + (s2 + g1 v)
//	s2 = (s2 + g2 v) − a2 s1
#define FOUR(off, v, y, s1, s2, t, u) \
	VMULPD (OB0+off)(AX), v, y \
	VADDPD s1, y, y            \
	VMULPD (OG1+off)(AX), v, t \
	VADDPD s2, t, t            \
	VMULPD (OG2+off)(AX), v, u \
	VADDPD u, s2, s2           \
	VMULPD (OA2+off)(AX), s1, u \
	VSUBPD u, s2, s2           \
	VMULPD (OD1+off)(AX), s1, s1 \
	VADDPD t, s1, s1

// FIRST: a sample into lane 0, each lane's output of two samples ago, in y, into the
// next; y becomes the output.
#define FIRST(y) \
	VBROADCASTSD (SI), Y8        \
	VPERMPD      $0x90, y, Y10   \
	VBLENDPD     $1, Y8, Y10, Y8 \
	FOUR(0, Y8, y, Y0, Y1, Y11, Y12)

// BOTH: the same over the first vector's lanes, in a, and the second's, in b.
#define BOTH(a, b) \
	VPERM2F128 $0x21, b, a, Y9 \
	VSHUFPD    $5, b, Y9, Y9   \
	FIRST(a)                   \
	FOUR(32, Y9, b, Y2, Y3, Y13, Y14)

// FOURLANES and EIGHTLANES: two samples; STORE takes the output from its lane. The
// outputs stand in Y4 and Y5 for even samples, in Y6 and Y7 for odd ones.
#define FOURLANES(STORE) \
	FIRST(Y6)     \
	STORE(Y6, X6) \
	ADDQ $8, SI   \
	ADDQ $8, DI   \
	FIRST(Y4)     \
	STORE(Y4, X4) \
	ADDQ $8, SI   \
	ADDQ $8, DI

#define EIGHTLANES(STORE) \
	BOTH(Y6, Y7)  \
	STORE(Y7, X7) \
	ADDQ $8, SI   \
	ADDQ $8, DI   \
	BOTH(Y4, Y5)  \
	STORE(Y5, X5) \
	ADDQ $8, SI   \
	ADDQ $8, DI

#define LANE0(y, x) VMOVSD x, (DI)
#define LANE1(y, x) VMOVHPD x, (DI)
#define LANE2(y, x) \
	VEXTRACTF128 $1, y, X15 \
	VMOVSD       X15, (DI)
#define LANE3(y, x) \
	VEXTRACTF128 $1, y, X15 \
	VMOVHPD      X15, (DI)

// func pipe(o *octet, dst, src *float64, n, out int)
TEXT ·pipe(SB), NOSPLIT, $0-40
	MOVQ o+0(FP), AX
	MOVQ dst+8(FP), DI
	MOVQ src+16(FP), SI
	MOVQ n+24(FP), CX
	MOVQ out+32(FP), DX

	VMOVUPD (OS1+0)(AX), Y0
	VMOVUPD (OS2+0)(AX), Y1
	VMOVUPD (OS1+32)(AX), Y2
	VMOVUPD (OS2+32)(AX), Y3
	VMOVUPD (OY1+0)(AX), Y4
	VMOVUPD (OY1+32)(AX), Y5
	VMOVUPD (OY2+0)(AX), Y6
	VMOVUPD (OY2+32)(AX), Y7
	MOVQ    CX, BX
	SHRQ    $1, CX
	JZ      rest
	CMPQ    DX, $3
	JLT     loop2
	JEQ     loop3
	CMPQ    DX, $5
	JLT     loop4
	JEQ     loop5
	CMPQ    DX, $6
	JEQ     loop6

loop7:
	EIGHTLANES(LANE3)
	DECQ CX
	JNZ  loop7
	JMP  rest

loop6:
	EIGHTLANES(LANE2)
	DECQ CX
	JNZ  loop6
	JMP  rest

loop5:
	EIGHTLANES(LANE1)
	DECQ CX
	JNZ  loop5
	JMP  rest

loop4:
	EIGHTLANES(LANE0)
	DECQ CX
	JNZ  loop4
	JMP  rest

loop3:
	FOURLANES(LANE3)
	DECQ CX
	JNZ  loop3
	JMP  rest

loop2:
	FOURLANES(LANE2)
	DECQ CX
	JNZ  loop2

rest:
	ANDQ $1, BX
	JZ   done
	BOTH(Y6, Y7)

	// An odd sample more: what it gave is now the last, and goes out.
	VMOVUPD Y6, (OY1+0)(AX)
	VMOVUPD Y7, (OY1+32)(AX)
	VMOVUPD Y4, (OY2+0)(AX)
	VMOVUPD Y5, (OY2+32)(AX)
	MOVSD   (OY1)(AX)(DX*8), X8
	MOVSD   X8, (DI)
	JMP     states

done:
	VMOVUPD Y4, (OY1+0)(AX)
	VMOVUPD Y5, (OY1+32)(AX)
	VMOVUPD Y6, (OY2+0)(AX)
	VMOVUPD Y7, (OY2+32)(AX)

states:
	VMOVUPD Y0, (OS1+0)(AX)
	VMOVUPD Y1, (OS2+0)(AX)
	VMOVUPD Y2, (OS1+32)(AX)
	VMOVUPD Y3, (OS2+32)(AX)
	VZEROUPPER
	RET
