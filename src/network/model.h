// A pack as a network of resistors: its nodes, its elements with what is known of
// their values, and the situations it can be put into. Pure.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "network/reach.h"
#include "network/resistances.h"
#include "profile/profile.h"

namespace pinproof::network {

/// What the pack is made to bear while a reading is taken.
enum class Stress {
  none,  ///< milliamperes, at rest
  load   ///< half an ampere to two through the coils
};

/// In what condition a reading is taken: lever and air, warmth, current, and
/// whether the harness is plugged in.
struct Situation {
  PackState state;
  Stress stress = Stress::none;
  bool hot = false;      ///< after a heat soak
  bool plugged = false;  ///< pack and harness joined
  /// Terminals that the fixture joins, group by group.
  std::vector<std::vector<std::size_t>> tied;
  friend bool operator==(const Situation&, const Situation&) = default;
};

/// What a value may be off by together with others.
enum class Share { none, winding, warmth };

/// A resistor of the model. Its value is `ohm` where it conducts.
struct Element {
  std::size_t a = 0, b = 0;
  std::string part;  ///< of the profile; "pin 12" for a pin's own wire
  profile::PartKind kind = profile::PartKind::wire;
  double ohm = 0;     ///< of a good one, at the model's temperature
  double sd_ohm = 0;  ///< how far good ones differ, by themselves
  double lot = 0;     ///< relative deviation that all windings of one lot share (k = 1)
  double per_K = 0;   ///< relative change for one kelvin
};

struct ModelOptions {
  double celsius = 23;
  /// All parts differ by this relative standard deviation (each by itself), in place of
  /// what the profile's limits say. For studies.
  std::optional<double> tolerance;
  double insulation_S = 1e-9;  ///< of every pin to the case, so that all nodes are joined
};

/// A good pack in one situation.
struct GoodPack {
  Situation situation;
  std::vector<double> ohm;     ///< of each element; infinite where it does not conduct
  Resistances resistances{0};  ///< ties of the fixture included
  Resistances untied{0};       ///< and without; empty where there are none
};

class Model {
 public:
  /// The profile must outlive the model.
  explicit Model(const profile::Profile& profile, ModelOptions options = {});

  /// The same pack with these values of its elements, in their order: one that was drawn.
  Model with(const std::vector<double>& ohm) const;

  const profile::Profile& profile() const { return *profile_; }
  const ModelOptions& options() const { return options_; }

  std::size_t nodes() const { return names_.size(); }
  const std::string& name(std::size_t node) const { return names_[node]; }
  /// nullopt where there is no such node. Terminals have their pin's number; "case".
  std::optional<std::size_t> find(std::string_view node) const;
  /// Nodes that leads can reach: pins, then the case. The first nodes of the model.
  std::size_t terminals() const { return terminals_; }
  /// Behind a pin that more than one part shares; the pin itself for others.
  std::size_t inside(std::string_view pin) const;
  /// In the winding of a coil, halfway.
  std::optional<std::size_t> middle(std::string_view coil) const;

  const std::vector<Element>& elements() const { return elements_; }
  /// The elements of one part: two for a coil, from its first node on.
  std::vector<std::size_t> elements_of(std::string_view part) const;
  /// A lead can reach it: of a pack joined with a harness, the controller's end and the case while
  /// it is plugged in.
  bool reachable(std::size_t terminal, const Situation& situation) const;
  /// False where the profile does not say how a contact at this terminal stands.
  bool settled(std::size_t terminal, const Situation& situation) const;

  /// The pack with these values of its elements in their order (infinite: open), exact at opens.
  Resistances built(const std::vector<double>& ohm) const;

  /// A good pack in this situation. Contacts that the table leaves open ("any") count as open.
  GoodPack good(const Situation& situation) const;

 private:
  bool conducts(const Element& element, const Situation& situation) const;
  std::size_t node(const std::string& name);
  void add_part(const profile::Part& part);
  void add_coil(const profile::Part& part);
  Element drawn(const profile::Part& part) const;

  const profile::Profile* profile_;
  ModelOptions options_;
  std::vector<std::string> names_;
  std::size_t terminals_ = 0;
  std::vector<Element> elements_;
};

/// Joins what the fixture ties together in this situation.
void tie(const Situation& situation, Resistances& resistances);

/// Resistance of an element that is open: none counts as more.
inline constexpr double kOpenCircuit_ohm = 1e10;

}  // namespace pinproof::network
