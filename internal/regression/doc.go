// Package regression fits logistic and Poisson models to counts and says how
// far their coefficients can be trusted.
//
// # The models
//
// A row has counted events among so many trials ([Binomial]) or in so much
// exposure ([Poisson], whose offset is the logarithm of the exposure). The logit
// or the logarithm of the mean rate is an intercept plus the terms' effects: a
// factor adds one column for each level but its reference, a covariate one.
//
// Both links are canonical, so iteratively reweighted least squares is Newton's
// method on a concave function: P. McCullagh, J. A. Nelder, "Generalized Linear
// Models", 2nd ed. (1989), section 2.5.
//
// # When there is no maximum
//
// Where the data separate, the likelihood has no finite maximum (A. Albert, J. A.
// Anderson, Biometrika 71 (1984) 1-10). That is established, not guessed, see
// separation.go; the fit then is that of D. Firth, "Bias reduction of maximum
// likelihood estimates", Biometrika 80 (1993) 27-38, as G. Heinze and M. Schemper
// (Statistics in Medicine 21 (2002) 2409-2419) use it.
//
// # Numerics
//
// Rows with the same terms are added up before the fit, covariates are centred
// and scaled, and dummy columns are never written out. The columns of the factor
// with most levels come first in the matrix: there it is diagonal, so a factor of
// five hundred lots costs little more than a covariate.
//
// Arguments that are out of range are answered with a [*stats.ArgumentError].
package regression
