package physics

import "math"

// plane is a normal belief about two numbers: means, variances and covariance.
type plane struct {
	x, y       float64
	xx, yy, xy float64
}

// noEvidence is a variance so large that a belief with it says nothing.
const noEvidence = 1e6

// standardPlane is the standard normal.
func standardPlane() plane { return plane{xx: 1, yy: 1} }

// line is a belief about the first number alone.
func line(x, variance float64) plane { return plane{x: x, xx: variance, yy: noEvidence} }

// plus adds independent variances.
func (p plane) plus(variance [2]float64) plane {
	p.xx += variance[0]
	p.yy += variance[1]
	return p
}

// times scales the variances.
func (p plane) times(factor [2]float64) plane {
	p.xx *= factor[0]
	p.yy *= factor[1]
	p.xy *= math.Sqrt(factor[0] * factor[1])
	return p
}

// information is the inverse of the covariance and its product with the mean.
func (p plane) information() (xx, yy, xy, hx, hy float64) {
	d := float64(p.xx*p.yy) - float64(p.xy*p.xy)
	xx, yy, xy = p.yy/d, p.xx/d, -p.xy/d
	return xx, yy, xy, float64(xx*p.x) + float64(xy*p.y), float64(xy*p.x) + float64(yy*p.y)
}

// and joins two independent beliefs about the same numbers.
func (p plane) and(q plane) plane {
	axx, ayy, axy, ahx, ahy := p.information()
	bxx, byy, bxy, bhx, bhy := q.information()
	return fromInformation(axx+bxx, ayy+byy, axy+bxy, ahx+bhx, ahy+bhy)
}

func fromInformation(xx, yy, xy, hx, hy float64) plane {
	d := float64(xx*yy) - float64(xy*xy)
	p := plane{xx: yy / d, yy: xx / d, xy: -xy / d}
	p.x = float64(p.xx*hx) + float64(p.xy*hy)
	p.y = float64(p.xy*hx) + float64(p.yy*hy)
	return p
}

// without takes a belief out of one that was formed with it. In a direction in
// which less than a twentieth was learned nothing is left.
func (p plane) without(q plane) plane {
	// Measured from q's mean in units in which q is standard (Cholesky), the belief's own
	// precision is the matrix less one; its eigenvectors say what was learned.
	lx := math.Sqrt(q.xx)
	lxy := q.xy / lx
	ly := math.Sqrt(math.Max(float64(q.yy)-float64(lxy*lxy), 1e-300))
	pxx, pyy, pxy, _, _ := p.information()
	wxx := float64(float64(lx*lx)*pxx) + float64(float64(2*lx*lxy)*pxy) + float64(float64(lxy*lxy)*pyy)
	wxy := ly * (float64(lx*pxy) + float64(lxy*pyy))
	wyy := float64(float64(ly*ly) * pyy)
	mx := (p.x - q.x) / lx
	my := (p.y - q.y - float64(lxy*mx)) / ly
	half, mid := float64(0.5*(wxx-wyy)), float64(0.5*(wxx+wyy))
	root := math.Hypot(half, wxy)
	angle := 0.5 * math.Atan2(wxy, half)
	sin, cos := math.Sincos(angle)
	own := func(eigen, along float64) (precision, mean float64) {
		if eigen-1 < 0.05 {
			return 1 / noEvidence, 0
		}
		return eigen - 1, eigen * along / (eigen - 1)
	}
	p1, m1 := own(mid+root, float64(cos*mx)+float64(sin*my))
	p2, m2 := own(mid-root, float64(cos*my)-float64(sin*mx))
	ux, uy := float64(cos*m1)-float64(sin*m2), float64(sin*m1)+float64(cos*m2)
	vxx := float64(cos*cos/p1) + float64(sin*sin/p2)
	vyy := float64(sin*sin/p1) + float64(cos*cos/p2)
	vxy := sin * cos * (1/p1 - 1/p2)
	return plane{
		x: q.x + float64(lx*ux), y: q.y + float64(lxy*ux) + float64(ly*uy),
		xx: lx * lx * vxx,
		yy: float64(float64(lxy*lxy)*vxx) + float64(float64(2*lxy*ly)*vxy) + float64(float64(ly*ly)*vyy),
		xy: float64(float64(lx*lxy)*vxx) + float64(float64(lx*ly)*vxy),
	}
}

// distance is how many standard deviations two independent beliefs lie apart.
func (p plane) distance(q plane) float64 {
	d := plane{xx: p.xx + q.xx, yy: p.yy + q.yy, xy: p.xy + q.xy}
	xx, yy, xy, _, _ := d.information()
	x, y := p.x-q.x, p.y-q.y
	return math.Sqrt(math.Max(0, float64(xx*x*x)+float64(yy*y*y)+float64(2*xy*x*y)))
}

// logMatch is the log of the chance density that two independent beliefs are about
// the same numbers, up to a constant.
func (p plane) logMatch(q plane) float64 {
	z := p.distance(q)
	determinant := float64((p.xx+q.xx)*(p.yy+q.yy)) - float64((p.xy+q.xy)*(p.xy+q.xy))
	return -0.5 * (float64(z*z) + math.Log(math.Max(determinant, 1e-300)))
}

// blend is the mean and spread of a mixture.
func blend(beliefs []plane, weights []float64) plane {
	var sum float64
	var m plane
	for i, b := range beliefs {
		sum += weights[i]
		m.x += float64(weights[i] * b.x)
		m.y += float64(weights[i] * b.y)
	}
	m.x, m.y = m.x/sum, m.y/sum
	for i, b := range beliefs {
		share, dx, dy := weights[i]/sum, b.x-m.x, b.y-m.y
		m.xx += float64(share * (b.xx + float64(dx*dx)))
		m.yy += float64(share * (b.yy + float64(dy*dy)))
		m.xy += float64(share * (b.xy + float64(dx*dy)))
	}
	return m
}
