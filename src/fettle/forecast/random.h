// The normal distribution and its kin, our own so that the same seed gives the same forecast with every compiler and
// standard library.
#pragma once

#include <vector>

#include "fettle/base/random.h"

namespace fettle::forecast {

double normal_cdf(double z);
// Inverse of the normal distribution for 0 < p < 1: a rational start (error below 1.2e-9 after one step of Halley).
double normal_quantile(double p);

// Student's t with a whole number of degrees of freedom >= 1: exact finite sums (Abramowitz and Stegun 26.7.3, 26.7.4)
// and their inverse. `start` is a guess from which the search begins.
double student_cdf(double t, int degrees);
double student_quantile(double p, int degrees, double start = 0);

// n standard normal values, one from the middle of each of n equally likely strata, in random order: a sum over several
// such columns has far less scatter between seeds than free draws, and each column has exactly the normal's quantiles.
std::vector<float> stratified_normals(Random& random, const std::vector<float>& strata);
std::vector<float> normal_strata(int n);

}  // namespace fettle::forecast
