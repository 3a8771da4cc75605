#include "simulated/network.h"

#include <Eigen/Dense>

namespace pinproof::simulated {
namespace {

constexpr double kTie_S = 1e-11;

}  // namespace

struct Network::Factor {
  Eigen::LDLT<Eigen::MatrixXd> ldlt;
};

Network::~Network() = default;
Network::Network(Network&&) noexcept = default;

Network::Network(const std::vector<Branch>& branches) : factor_(std::make_unique<Factor>()) {
  for (const Branch& branch : branches)
    for (const std::string* node : {&branch.a, &branch.b})
      index_.emplace(*node, static_cast<int>(index_.size()));
  const auto n = static_cast<Eigen::Index>(index_.size());
  Eigen::MatrixXd g = Eigen::MatrixXd::Identity(n, n) * kTie_S;
  for (const Branch& branch : branches) {
    const int a = index_.at(branch.a), b = index_.at(branch.b);
    if (a == b) continue;
    g(a, a) += branch.siemens, g(b, b) += branch.siemens;
    g(a, b) -= branch.siemens, g(b, a) -= branch.siemens;
  }
  factor_->ldlt.compute(g);
}

std::map<std::string, double> Network::solve(const std::vector<Injection>& injections) const {
  Eigen::VectorXd i = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(index_.size()));
  for (const Injection& one : injections) {
    i[index_.at(one.from)] += one.ampere;
    i[index_.at(one.to)] -= one.ampere;
  }
  const Eigen::VectorXd v = factor_->ldlt.solve(i);
  std::map<std::string, double> out;
  for (const auto& [node, at] : index_) out[node] = v[at];
  return out;
}

}  // namespace pinproof::simulated
