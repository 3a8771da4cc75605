// Nodal solution of a resistive network, dense and direct.
#pragma once

#include <map>
#include <memory>
#include <string>
#include <vector>

#include "simulated/pack.h"

namespace pinproof::simulated {

class Network {
 public:
  /// Every node is tied to a common reference by 10 Gohm times ten, so that
  /// islands stay finite; between terminals that ties two islands by 200 Gohm.
  explicit Network(const std::vector<Branch>& branches);
  ~Network();
  Network(Network&&) noexcept;

  bool has(const std::string& node) const { return index_.contains(node); }
  /// Node voltages for currents pushed into `from` and taken out of `to`.
  struct Injection {
    std::string from, to;
    double ampere;
  };
  std::map<std::string, double> solve(const std::vector<Injection>& injections) const;

 private:
  struct Factor;
  std::map<std::string, int> index_;
  std::unique_ptr<Factor> factor_;
};

}  // namespace pinproof::simulated
