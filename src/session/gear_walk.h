// Every gear of the table on a bench: its coils energised, air at its elements, its switches read.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "inspection/run/handling.h"
#include "lever/gears.h"
#include "network/reach.h"

namespace pinproof::session {

class GearWalk {
 public:
  /// Both must outlive it. `options` as for an inspection.
  GearWalk(const inspection::RunOptions& options, record::Record& record);

  /// Throws Error: aborted where the technician would not bring lever and air back to rest.
  lever::GearStudy walk();
  void make_safe() { handling_.make_safe(); }
  std::string make_safe_after_trouble() { return handling_.make_safe_after_trouble(); }

 private:
  /// Two terminals and the switches between them.
  struct SwitchPair {
    network::ContactPair at;
    double wires_ohm = 0;
  };
  using States = std::map<std::string, char>;
  /// The coils of a gear on one supply.
  struct Load {
    inspection::DriveStep step;
    double siemens = 0;  ///< by their resistances
  };

  lever::GearSeen look(const std::string& gear, const network::PackState& state);
  lever::GearSeen watch(const std::string& gear, const network::PackState& state);
  /// `quick`: in one range, so that a contact that chatters is not caught closed in a wider one.
  States scan(const record::Condition& condition, const std::string& gear, bool quick);
  lever::GearStudy through_all();
  network::PackState state_in(const profile::Gear& gear, network::PackState rest) const;
  void drive(const profile::Gear& gear, lever::GearSeen& seen);
  /// Nothing where its coils are not to be driven; `seen` then says why.
  std::optional<Load> load_of(const profile::Gear& gear, lever::GearSeen& seen);
  void add_coil(const profile::Part& coil, const bench::Connection& at, double ohm,
                Load& load) const;
  std::optional<double> coil_ohm(const profile::Part& coil);
  lever::TripSeen ramp(const profile::Part& part);
  char state_at(const profile::Part& part, double pascal, double& measured_Pa);
  void add(record::Event event);

  const inspection::RunOptions& options_;
  record::Record& record_;
  inspection::Handling handling_;
  inspection::Capabilities can_;
  std::vector<SwitchPair> pairs_;
  States last_;  // of the switches, before the air was changed
  std::map<std::string, std::optional<double>> coil_ohm_;
};

}  // namespace pinproof::session
