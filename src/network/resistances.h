// Effective resistance between every two nodes of a resistor network. Pure.
#pragma once

#include <cstddef>
#include <vector>

namespace pinproof::network {

/// A resistor between two nodes, by index. siemens > 0 adds one; < 0 takes one away.
struct Edge {
  std::size_t a = 0;
  std::size_t b = 0;
  double siemens = 0;
};

/// R(i, j) in ohm between every two of n nodes; infinite where no path joins them.
///
/// Adding g siemens between a and b changes every pair of their component by
///   R'_ij = R_ij - s d^2,  s = g / (4 (1 + g R_ab)),  d = R_ib + R_ja - R_ia - R_jb
/// (Sherman and Morrison's formula written in resistances), and joins two
/// components exactly: R'_ij = R_ia + 1/g + R_bj. No ground is needed and nothing
/// is inverted, so a leak of 1e-10 S beside a joint of 1e3 S keeps its digits as
/// long as strong edges come first: see of().
class Resistances {
 public:
  /// n nodes, nothing between them.
  explicit Resistances(std::size_t nodes);
  /// The strongest edges first: the tree they make is summed without loss, and every
  /// later edge is weaker than the path that it closes. Edges need a positive conductance.
  static Resistances of(std::size_t nodes, std::vector<Edge> edges);

  std::size_t size() const { return nodes_; }
  double operator()(std::size_t i, std::size_t j) const { return ohm_[i * nodes_ + j]; }
  const double* row(std::size_t i) const { return &ohm_[i * nodes_]; }

  /// Adds (or with negative siemens weakens) a resistor. To remove one that alone
  /// joins two parts, build anew without it: here 1 + g R_ab would be a difference
  /// of equal numbers. Throws std::invalid_argument for a conductance that is zero,
  /// not finite, or that takes away more than is there.
  void add(const Edge& edge);

  /// Gives every node i the index to[i], a permutation.
  void move(const std::vector<std::size_t>& to);

  /// Volt between c and d for one ampere from a to b:
  /// (R_ad + R_bc - R_ac - R_bd) / 2. What a four-wire reading sees.
  double transfer(std::size_t a, std::size_t b, std::size_t c, std::size_t d) const;

 private:
  void join(const Edge& edge);
  void update(const Edge& edge);

  std::size_t nodes_;
  std::vector<double> ohm_;
  std::vector<double> d_;  // of the last update; kept to spare the allocation
};

}  // namespace pinproof::network
