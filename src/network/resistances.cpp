#include "network/resistances.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <string>

namespace pinproof::network {
namespace {

void take_squares(double* __restrict out, const double* __restrict other, std::size_t n, double own,
                  double s) {
  for (std::size_t j = 0; j < n; ++j) {
    const double d = own - other[j];
    out[j] -= s * d * d;
  }
}

}  // namespace

Resistances::Resistances(std::size_t nodes)
    : nodes_(nodes), ohm_(nodes * nodes, INFINITY), d_(nodes) {
  for (std::size_t i = 0; i < nodes; ++i) ohm_[i * nodes + i] = 0;
}

Resistances Resistances::of(std::size_t nodes, std::vector<Edge> edges) {
  std::stable_sort(edges.begin(), edges.end(),
                   [](const Edge& x, const Edge& y) { return x.siemens > y.siemens; });
  Resistances out(nodes);
  for (const Edge& edge : edges) {
    if (!(edge.siemens > 0)) throw std::invalid_argument("a resistor needs a positive conductance");
    out.add(edge);
  }
  return out;
}

void Resistances::add(const Edge& edge) {
  if (edge.a >= nodes_ || edge.b >= nodes_)
    throw std::invalid_argument("no such node in the network");
  if (!std::isfinite(edge.siemens) || edge.siemens == 0)
    throw std::invalid_argument("a conductance of " + std::to_string(edge.siemens) + " S");
  if (edge.a == edge.b) return;
  if (std::isinf((*this)(edge.a, edge.b)))
    join(edge);
  else
    update(edge);
}

void Resistances::join(const Edge& edge) {
  if (edge.siemens < 0) throw std::invalid_argument("nothing to take away between two parts");
  const double ohm = 1 / edge.siemens;
  std::vector<std::size_t> left, right;
  for (std::size_t i = 0; i < nodes_; ++i) {
    if (std::isfinite((*this)(edge.a, i))) left.push_back(i);
    if (std::isfinite((*this)(edge.b, i))) right.push_back(i);
  }
  for (const std::size_t i : left)
    for (const std::size_t j : right) {
      const double r = (*this)(i, edge.a) + ohm + (*this)(edge.b, j);
      ohm_[i * nodes_ + j] = ohm_[j * nodes_ + i] = r;
    }
}

void Resistances::update(const Edge& edge) {
  const double across = (*this)(edge.a, edge.b);
  const double grown = 1 + edge.siemens * across;
  if (!(grown > 0)) throw std::invalid_argument("more conductance taken away than there is");
  const double s = edge.siemens / (4 * grown);
  const double* ra = row(edge.a);
  const double* rb = row(edge.b);
  // d = (R_ib - R_ia) - (R_jb - R_ja); nodes of other parts stay as they are.
  bool whole = true;
  for (std::size_t i = 0; i < nodes_; ++i) {
    d_[i] = rb[i] - ra[i];
    whole = whole && std::isfinite(ra[i]);
  }
  for (std::size_t i = 0; i < nodes_; ++i) {
    if (whole)
      take_squares(&ohm_[i * nodes_], d_.data(), nodes_, d_[i], s);
    else if (std::isfinite(ra[i]))
      for (std::size_t j = 0; j < nodes_; ++j)
        if (std::isfinite(ra[j])) ohm_[i * nodes_ + j] -= s * (d_[i] - d_[j]) * (d_[i] - d_[j]);
  }
  // The pair itself without a difference of near numbers.
  ohm_[edge.a * nodes_ + edge.b] = ohm_[edge.b * nodes_ + edge.a] = across / grown;
}

void Resistances::move(const std::vector<std::size_t>& to) {
  std::vector<double> moved(ohm_.size());
  for (std::size_t i = 0; i < nodes_; ++i)
    for (std::size_t j = 0; j < nodes_; ++j) moved[to[i] * nodes_ + to[j]] = ohm_[i * nodes_ + j];
  ohm_ = std::move(moved);
}

double Resistances::transfer(std::size_t a, std::size_t b, std::size_t c, std::size_t d) const {
  const auto& r = *this;
  return ((r(a, d) - r(a, c)) + (r(b, c) - r(b, d))) / 2;
}

}  // namespace pinproof::network
