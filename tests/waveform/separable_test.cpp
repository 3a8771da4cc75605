#include "waveform/separable.h"

#include <doctest/doctest.h>

#include <cmath>
#include <sstream>

#include "waveform/files.h"

using namespace pinproof::waveform;

namespace {

struct Data {
  std::vector<double> x, y;
};

// The data of a NIST StRD file: rows of "y x" from line `from` on.
Data nist(const std::string& name, int from, int to) {
  std::istringstream in(data_file("strd/" + name));
  std::string line;
  Data out;
  for (int n = 1; std::getline(in, line) && n <= to; ++n) {
    if (n < from) continue;
    std::istringstream row(line);
    double y = 0, x = 0;
    row >> y >> x;
    REQUIRE(row);
    out.y.push_back(y), out.x.push_back(x);
  }
  return out;
}

// y = b1 (1 - exp(-b2 x)), the model of both data sets.
Basis rising(const std::vector<double>& x) {
  return [&x](double k, std::span<double> value, std::span<double> by_k) {
    for (std::size_t i = 0; i < x.size(); ++i) {
      value[i] = 1 - std::exp(-k * x[i]);
      by_k[i] = x[i] * std::exp(-k * x[i]);
    }
  };
}

double digits(double found, double certified) {
  return -std::log10(std::max(1e-15, std::abs(found - certified) / std::abs(certified)));
}

struct Certified {
  double b1, b2, sd1, sd2, rss;
};

void check_against(const Data& data, double start, const Certified& c) {
  const auto fit = fit_separable(data.y, 1, rising(data.x), start);
  REQUIRE(fit.status == FitStatus::ok);
  const double fewest =
      std::min({digits(fit.c[0], c.b1), digits(fit.k, c.b2), digits(fit.sd[0], c.sd1),
                digits(fit.sd[1], c.sd2), digits(fit.rss, c.rss)});
  MESSAGE("digits from start ", start, ": ", fewest);
  CHECK(fewest >= 9);
}

}  // namespace

// Certified values, standard deviations and starting points: NIST StRD,
// tests/data/strd. They are printed to eleven digits.
TEST_CASE("separable fit gives NIST's Misra1a from both starting points") {
  const Data data = nist("Misra1a.dat", 61, 74);
  REQUIRE(data.x.size() == 14);
  const Certified certified{2.3894212918E+02, 5.5015643181E-04, 2.7070075241E+00, 7.2668688436E-06,
                            1.2455138894E-01};
  check_against(data, 0.0001, certified);
  check_against(data, 0.0005, certified);
}

TEST_CASE("separable fit gives NIST's BoxBOD from both starting points") {
  const Data data = nist("BoxBOD.dat", 61, 66);
  REQUIRE(data.x.size() == 6);
  const Certified certified{2.1380940889E+02, 5.4723748542E-01, 1.2354515176E+01, 1.0455993237E-01,
                            1.1680088766E+03};
  check_against(data, 1, certified);
  check_against(data, 0.75, certified);
}

TEST_CASE("separable fit with two linear parameters recovers an exact curve") {
  std::vector<double> x, y;
  for (int i = 0; i < 50; ++i) {
    x.push_back(0.1 * i);
    y.push_back(3 + 2 * std::exp(-0.8 * x.back()));
  }
  const Basis basis = [&x](double k, std::span<double> value, std::span<double> by_k) {
    for (std::size_t i = 0; i < x.size(); ++i) {
      value[i] = 1, by_k[i] = 0;
      value[x.size() + i] = std::exp(-k * x[i]);
      by_k[x.size() + i] = -x[i] * std::exp(-k * x[i]);
    }
  };
  for (const double start : {0.001, 0.8, 300.0}) {
    const auto fit = fit_separable(y, 2, basis, start);
    REQUIRE(fit.status == FitStatus::ok);
    CHECK(fit.k == doctest::Approx(0.8).epsilon(1e-8));
    CHECK(fit.c[0] == doctest::Approx(3).epsilon(1e-8));
    CHECK(fit.c[1] == doctest::Approx(2).epsilon(1e-8));
    CHECK(fit.residual.size() == y.size());
  }
}

TEST_CASE("separable fit says why it cannot answer") {
  const std::vector<double> x{1, 2, 3}, two{1, 2};
  CHECK(fit_separable(two, 1, rising(two), 1).status == FitStatus::too_few_samples);
  CHECK(fit_separable(x, 0, rising(x), 1).status == FitStatus::too_few_samples);
  CHECK(fit_separable(x, 1, rising(x), -1).status == FitStatus::no_minimum);
  CHECK(fit_separable(x, 1, rising(x), NAN).status == FitStatus::no_minimum);
  // A straight line is 1 - exp(-k x) only in the limit k -> 0: no minimum inside.
  CHECK(fit_separable(x, 1, rising(x), 1).status == FitStatus::no_minimum);
}
