// The price of a fit beside general solvers', at equal answers, in one run:
// each peer is a program of its own (peers/) that is given the same samples and
// starts near the truth, which ours is not told. Prints a table; tests nothing.
//   fit_speed PEER...     each PEER a command line that answers as trial.h says
#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <random>
#include <sstream>
#include <string>
#include <vector>

#include "waveform/exponentials.h"

namespace {

using pinproof::waveform::ExponentialFit;
using pinproof::waveform::fit_exponentials;

constexpr int kSeeds = 9;
constexpr double kNoise = 0.005;

struct Case {
  std::size_t samples, terms;
  std::vector<double> start;               // c0, then amplitude and rate of each term
  std::vector<std::vector<double>> draws;  // noisy samples
};

Case make(std::size_t samples, std::size_t terms) {
  const double n = static_cast<double>(samples);
  // A healthy on/off coil's eddy share, and with two terms a quick part beside it.
  const std::array<double, 5> truth{1, terms == 1 ? -0.865 : -0.7, 4.5 / n, -0.2, 36 / n};
  Case out{samples, terms, {}, {}};
  for (std::size_t j = 0; j < 1 + 2 * terms; ++j)
    out.start.push_back(truth[j] * (j == 0 ? 0.95 : j % 2 == 1 ? 0.9 : 1.2));
  for (unsigned seed = 1; seed <= kSeeds; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0, kNoise);
    std::vector<double> y(samples);
    for (std::size_t t = 0; t < samples; ++t) {
      y[t] = truth[0] + normal(random);
      for (std::size_t j = 1; j < 1 + 2 * terms; j += 2)
        y[t] += truth[j] * std::exp(-truth[j + 1] * static_cast<double>(t));
    }
    out.draws.push_back(std::move(y));
  }
  return out;
}

struct Timed {
  double us = 0;
  std::vector<std::vector<double>> answers;  // c0, amplitude, rate, ... of each draw
};

double median(std::vector<double> x) {
  std::nth_element(x.begin(), x.begin() + static_cast<std::ptrdiff_t>(x.size() / 2), x.end());
  return x[x.size() / 2];
}

template <class Work>
double median_us(int repeats, const Work& work) {
  std::vector<double> times;
  for (int r = 0; r < repeats; ++r) {
    const auto from = std::chrono::steady_clock::now();
    work();
    times.push_back(
        std::chrono::duration<double, std::micro>(std::chrono::steady_clock::now() - from).count());
  }
  return median(times);
}

// One bare pass over the samples: four sums, so that no dependency slows it.
double read_pass(const Case& c) {
  std::array<double, 4> sums{};
  return median_us(201, [&] {
    const auto& y = c.draws[0];
    for (std::size_t t = 0; t + 4 <= y.size(); t += 4)
      for (std::size_t j = 0; j < 4; ++j) sums[j] += y[t + j];
    volatile double keep = sums[0] + sums[1] + sums[2] + sums[3];
    static_cast<void>(keep);
  });
}

Timed ours(const Case& c, std::vector<ExponentialFit>& fits) {
  Timed out;
  std::vector<double> times;
  for (const auto& y : c.draws) {
    ExponentialFit fit;
    times.push_back(median_us(101, [&] { fit = fit_exponentials(y, 1, c.terms); }));
    std::vector<double> p{fit.constant};
    for (std::size_t j = 0; j < c.terms; ++j) p.insert(p.end(), {fit.amplitude[j], fit.rate[j]});
    out.answers.push_back(p);
    fits.push_back(fit);
  }
  out.us = median(times);
  return out;
}

Timed peer(const Case& c, const std::string& command) {
  const std::string file = "/tmp/fit_speed." + std::to_string(std::rand());
  {
    std::ofstream to(file);
    to.precision(17);
    for (const auto& y : c.draws) {
      to << c.samples << ' ' << c.terms;
      for (const double s : c.start) to << ' ' << s;
      for (const double s : y) to << ' ' << s;
      to << '\n';
    }
  }
  Timed out;
  std::vector<double> times;
  FILE* from = popen((command + " < " + file).c_str(), "r");
  for (std::array<char, 512> line{}; from && std::fgets(line.data(), line.size(), from);) {
    std::istringstream words(line.data());
    double us = 0;
    std::vector<double> p(1 + 2 * c.terms);
    words >> us;
    for (double& x : p) words >> x;
    if (c.terms == 2 && p[2] > p[4]) std::swap(p[1], p[3]), std::swap(p[2], p[4]);
    times.push_back(us);
    out.answers.push_back(p);
  }
  if (from) pclose(from);
  std::remove(file.c_str());
  out.us = times.size() == c.draws.size() ? median(times) : NAN;
  return out;
}

// Largest difference of a rate, in its standard deviations, over the draws where
// the peer found the same minimum; and how many it did not.
std::string compared(const std::vector<ExponentialFit>& fits, const Timed& other) {
  double worst = 0;
  int astray = 0;
  for (std::size_t d = 0; d < other.answers.size(); ++d)
    for (std::size_t j = 0; j < fits[d].terms; ++j) {
      const double off =
          std::abs(other.answers[d][2 + 2 * j] - fits[d].rate[j]) / fits[d].rate_sd[j];
      if (!(off < 0.5))
        astray += j == 0;
      else
        worst = std::max(worst, off);
    }
  std::array<char, 64> text{};
  std::snprintf(text.data(), text.size(), "%.4f sd%s", worst,
                astray ? (", " + std::to_string(astray) + " astray").c_str() : "");
  return text.data();
}

}  // namespace

int main(int argc, char** argv) {
  std::printf("%-34s %12s %14s %12s  %s\n", "fit", "median us", "times ours", "read passes",
              "rates differ by at most");
  for (const std::size_t terms : {std::size_t{1}, std::size_t{2}})
    for (const std::size_t samples : {std::size_t{2000}, std::size_t{20000}}) {
      const Case c = make(samples, terms);
      std::vector<ExponentialFit> fits;
      const Timed mine = ours(c, fits);
      const double pass = read_pass(c);
      std::printf("%zu exponential%s, %zu samples\n", terms, terms > 1 ? "s" : "", samples);
      std::printf("  %-32s %12.2f %14s %12.1f\n", "one bare read pass", pass, "", 1.0);
      std::printf("  %-32s %12.2f %14s %12.1f\n", "pinproof", mine.us, "1.0", mine.us / pass);
      double fastest = INFINITY;
      for (int a = 1; a < argc; ++a) {
        const std::string command = argv[a];
        const Timed theirs = peer(c, command);
        fastest = std::fmin(fastest, theirs.us);
        std::printf("  %-32s %12.2f %14.1f %12.1f  %s\n",
                    command.substr(command.find_last_of('/') + 1).c_str(), theirs.us,
                    theirs.us / mine.us, theirs.us / pass, compared(fits, theirs).c_str());
      }
      if (argc > 1) std::printf("  the fastest peer takes %.0f times ours\n", fastest / mine.us);
    }
}
