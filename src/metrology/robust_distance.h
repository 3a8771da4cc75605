// How unusual a part is as a whole: squared distance from the middle of its fellows, with middle
// and covariance that outliers among the fellows cannot move. Pure, and the same at each call.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace pinproof::metrology {

enum class McdFailure {
  none,
  too_few_rows,  ///< fewer than twice as many rows as variables
  not_finite,    ///< a value is no number
  no_spread,     ///< half the rows or more share one value in a column
  singular       ///< half the rows or more obey one linear relation
};

struct Mcd {
  std::vector<std::size_t> subset;  ///< the h rows of least determinant, ascending
  double log_determinant = 0;       ///< of their covariance (h - 1), natural, uncorrected
  std::vector<double> raw_centre, raw_covariance;  ///< of the subset, corrected
  std::vector<double> centre, covariance;          ///< reweighted, corrected; row by row, p by p
  std::vector<double> squared_distances;           ///< of each row, by centre and covariance
  std::vector<int> weights;  ///< 1: the row counts in centre and covariance, 0: it does not
  bool small_sample_corrected = true;  ///< false: too few rows for the 2002 formula, 1 is used
};

struct McdOutcome {
  std::optional<Mcd> mcd;  ///< nullopt: see failure
  McdFailure failure = McdFailure::none;
  std::size_t column = 0;  ///< of no_spread and not_finite
};

/// Minimum covariance determinant of `rows` (row by row, p columns, any units) with the greatest
/// breakdown, h = (n + p + 1) / 2 rows. FAST-MCD of Rousseeuw and Van Driessen 1999: 500 random
/// starts of p + 1 rows, two concentration steps, the ten best to convergence; above 600 rows by
/// way of up to five subsets of 300. Consistency factor of Croux and Haesbroeck 1999 and
/// small-sample factor of Pison, Van Aelst and Willems 2002 on both covariances; one reweighting
/// step, chi-squared 0.975. The factors make the mean of det^(1/p) right; single variances come out
/// above in few parts (by 15 % at n 60, p 6). The 2002 formula has a pole at small n (p 3: below n
/// of about 12); where it gives nothing between 0 and 5, small_sample_corrected is false.
McdOutcome minimum_covariance_determinant(std::span<const double> rows, std::size_t p);

/// The reason in words; `column` is counted from 1 there.
std::string failure_text(const McdOutcome& outcome);

/// Squared distance that a part exceeds with 1 - probability, middle and covariance known: p
/// degrees of freedom. p >= 1, 0 < probability < 1; std::domain_error otherwise.
double distance_cutoff_chi2(std::size_t p, double probability);
/// The same for a new part against mean and covariance (n - 1) of n good parts it is none of:
/// p (n - 1)(n + 1) / (n (n - p)) F(p, n - p) (Hotelling's prediction). Exact for the classical
/// mean and covariance of normal parts; close for the reweighted ones, n being the sum of weights.
/// n > p; std::domain_error otherwise.
double distance_cutoff_new_part(std::size_t p, std::size_t n, double probability);

/// Mean and covariance (n - 1) of the rows that `without` does not hold, row by row; two at least.
struct Classical {
  std::size_t n = 0;
  std::vector<double> centre, covariance;
};
Classical mean_and_covariance(std::span<const double> rows, std::size_t p,
                              std::span<const std::size_t> without);

/// Squared distances of many parts from one middle.
class SquaredDistance {
 public:
  /// p values, and p by p row by row, positive definite; std::domain_error otherwise.
  SquaredDistance(std::span<const double> centre, std::span<const double> covariance);
  /// p values.
  double operator()(std::span<const double> row) const;

 private:
  std::vector<double> centre_, factor_;  ///< lower Cholesky factor, its diagonal inverted
};

/// By what a part is unusual.
struct DistanceShares {
  double squared_distance = 0;
  std::vector<double> standardised;  ///< (x - centre) / deviation of each variable, signed
  std::vector<double> given_others;  ///< off what the other variables foretell, in its deviations
  std::vector<double> share;         ///< of the squared distance; none negative, 1 in sum
};
/// Shares by the transformation whose squares sum to the squared distance and whose parts correlate
/// most with their own variables (Garthwaite and Koch 2016). All share 0 at distance 0. Throws
/// std::domain_error where sizes do not fit or the covariance is not positive definite.
DistanceShares distance_shares(std::span<const double> row, std::span<const double> centre,
                               std::span<const double> covariance);

}  // namespace pinproof::metrology
