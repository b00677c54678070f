package smooth

import "math"

// The state of one node: place, velocity, acceleration and the receiver's wander, each
// east then north.
const (
	iE, iN = 0, 1 // place, m
	vE, vN = 2, 3 // velocity, m/s
	aE, aN = 4, 5 // acceleration, m/s²
	wE, wN = 6, 7 // wander of the receiver, m
	dim    = 8
)

// Fixed arrays on the stack: the same step with a general matrix type takes tens of
// times as long.
type (
	vec    [dim]float64
	matrix [dim][dim]float64
)

func (a *matrix) mul(b *matrix) (c matrix) {
	for i := range dim {
		for k := range dim {
			x := a[i][k]
			if x == 0 {
				continue
			}
			for j := range dim {
				c[i][j] += x * b[k][j]
			}
		}
	}
	return c
}

// mulT is a times the transpose of b.
func (a *matrix) mulT(b *matrix) (c matrix) {
	for i := range dim {
		for j := range dim {
			s := 0.0
			for k := range dim {
				s += a[i][k] * b[j][k]
			}
			c[i][j] = s
		}
	}
	return c
}

// carry is a p a' for symmetric p and a with many zeros.
func (a *matrix) carry(p *matrix) matrix {
	ap := a.mul(p)
	ap = ap.transpose()
	return a.mul(&ap)
}

func (a *matrix) transpose() (c matrix) {
	for i := range dim {
		for j := range dim {
			c[j][i] = a[i][j]
		}
	}
	return c
}

func (a *matrix) apply(x *vec) (y vec) {
	for i := range dim {
		for j := range dim {
			y[i] += a[i][j] * x[j]
		}
	}
	return y
}

// applyT is the transpose of a times x.
func (a *matrix) applyT(x *vec) (y vec) {
	for i := range dim {
		for j := range dim {
			y[j] += a[i][j] * x[i]
		}
	}
	return y
}

func (a *matrix) add(b *matrix) (c matrix) {
	for i := range dim {
		for j := range dim {
			c[i][j] = a[i][j] + b[i][j]
		}
	}
	return c
}

func (a *matrix) sub(b *matrix) (c matrix) {
	for i := range dim {
		for j := range dim {
			c[i][j] = a[i][j] - b[i][j]
		}
	}
	return c
}

// symmetric is a with rounding's asymmetry taken out.
func (a *matrix) symmetric() matrix {
	c := *a
	for i := range dim {
		for j := range i {
			m := (a[i][j] + a[j][i]) / 2
			c[i][j], c[j][i] = m, m
		}
	}
	return c
}

// quad is x' a x for symmetric a.
func (a *matrix) quad(x *vec) float64 {
	y := a.apply(x)
	s := 0.0
	for i := range dim {
		s += x[i] * y[i]
	}
	return s
}

// addCarried adds g d g' for symmetric d, and takes out rounding's asymmetry.
func (a *matrix) addCarried(g, d *matrix) {
	var gd matrix
	for i := range dim {
		x := &gd[i]
		for k := range dim {
			f, r := g[i][k], &d[k]
			for j := range dim {
				x[j] += f * r[j]
			}
		}
	}
	for i := range dim {
		x := &gd[i]
		for j := 0; j <= i; j++ {
			s, r := (a[i][j]+a[j][i])/2, &g[j]
			for k := range dim {
				s += x[k] * r[k]
			}
			a[i][j], a[j][i] = s, s
		}
	}
}

// rightSolve is x with x a = b for a symmetric and positive definite, by Cholesky's factors. Where rounding has
// eaten the definiteness a billionth is added to the diagonal, which moves no state by more than a
// thousandth of its doubt; ok is false where that does not help.
func rightSolve(b, a *matrix) (x matrix, ok bool) {
	ok = solveRight(&x, b, a)
	return x, ok
}

// solveRight is rightSolve into x.
func solveRight(x, b, a *matrix) (ok bool) {
	l, ok := cholesky(a)
	if !ok {
		more := *a
		for i := range dim {
			more[i][i] *= 1 + 1e-9
		}
		if l, ok = cholesky(&more); !ok {
			return false
		}
	}
	var one vec // over the diagonal
	for i := range dim {
		one[i] = 1 / l[i][i]
	}
	for r := range dim {
		y := b[r]
		for i := range dim {
			v := y[i] * one[i]
			y[i] = v
			for k := i + 1; k < dim; k++ {
				y[k] -= l[k][i] * v
			}
		}
		for i := dim - 1; i >= 0; i-- {
			v := y[i] * one[i]
			y[i] = v
			row := &l[i]
			for k := range i {
				y[k] -= row[k] * v
			}
		}
		x[r] = y
	}
	return true
}

// cholesky is the lower triangle l with l l' = a; ok is false where a is not positive definite.
func cholesky(a *matrix) (l matrix, ok bool) {
	for i := range dim {
		for j := 0; j <= i; j++ {
			s := a[i][j]
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = s / l[j][j]
				continue
			}
			if !(s > 0) {
				return l, false
			}
			l[i][i] = math.Sqrt(s)
		}
	}
	return l, true
}
