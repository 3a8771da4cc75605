#include "app/open_bench.h"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <chrono>

#include "app/command.h"
#include "app/stop.h"
#include "app/values.h"
#include "bench/journal_ports.h"
#include "hand/actuator.h"
#include "hand/requests.h"
#include "hand/technician.h"
#include "hand/terminal.h"
#include "link/dialogue.h"
#include "link/guardian.h"
#include "modbus/relays.h"
#include "profile/harness.h"
#include "quantity/error.h"
#include "scpi/instruments.h"
#include "sigrok/handheld.h"

namespace pinproof::app {
namespace {

const Duration kOpening{5};  // for the first answer of an instrument
// Of a typed-in temperature where the bench file says nothing: a workshop
// thermometer of plus or minus 2 K (common practice, no source).
constexpr double kTypedThermometer_u_K = 1;

/// What a driver needs to be put in place.
struct InstrumentPlace {
  bench::InstrumentDescription& instrument;
  const bench::Description& bench;
  const std::string& dialects;
  const std::function<std::unique_ptr<link::Link>(const scpi::LinkWanted&)>& open;
  bench::JournalWriter* writer;
  bench::Instruments& instruments;
  bench::Patience patience;
};

void install_scpi(const InstrumentPlace& p) {
  scpi::install(p.instrument, p.bench, p.dialects, p.open, p.patience, p.instruments);
}

void install_modbus(const InstrumentPlace& p) {
  modbus::install(p.instrument, p.bench, p.patience, p.instruments);
  if (p.writer) p.instruments.paths = bench::record_port(std::move(p.instruments.paths), *p.writer);
}

void install_sigrok(const InstrumentPlace& p) {
  const auto open = [&](const std::string& address) {
    return p.open({p.instrument.role, address, {}, {}});
  };
  sigrok::install(p.instrument, open, p.instruments);
}

void install_nothing(const InstrumentPlace&) {}  // a hand comes last, around the meter

struct DriverFamily {
  std::string_view name;
  void (*install)(const InstrumentPlace& place);
};

// The one table of driver families.
constexpr std::array kDrivers{
    DriverFamily{"scpi", install_scpi}, DriverFamily{"modbus", install_modbus},
    DriverFamily{"sigrok-cli", install_sigrok}, DriverFamily{"hand", install_nothing}};

const DriverFamily& driver_named(const std::string& name, const std::string& bench) {
  std::string known;
  for (const DriverFamily& driver : kDrivers) {
    if (driver.name == name) return driver;
    known += (known.empty() ? "" : ", ") + std::string(driver.name);
  }
  throw Error(Fault::usage,
              "bench \"" + bench + "\": no driver \"" + name + "\"; there are " + known);
}

bool has_hand(const bench::Description& bench, std::string_view role = "probes") {
  const auto* found = bench.find(role);
  return found && found->driver == "hand";
}

// Where nobody is asked anything.
class Nobody final : public bench::Console {
 public:
  void say(const std::string&) override {}
  void live(const std::string&) override {}
  void beep() override {}
  void forget_keys() override {}
  std::optional<bench::KeyPress> key(Duration, const bench::Patience&) override { refuse(); }
  std::string ask(const std::string&, const bench::Patience&) override { refuse(); }

 private:
  [[noreturn]] static void refuse() { throw Error(Fault::usage, "nobody is here to be asked"); }
};

// A bench without a thermometer of its own: somebody has read one and typed it in.
class TypedThermometer final : public bench::Meter {
 public:
  TypedThermometer(std::unique_ptr<bench::Meter> meter, Temperature celsius)
      : meter_(std::move(meter)), celsius_(celsius) {}
  std::string name() const override { return meter_->name(); }
  bool can_four_wire() const override { return meter_->can_four_wire(); }
  bool can_celsius() const override { return true; }
  bench::ShownOhms ohms(bool four_wire, Resistance range, const bench::Patience& p) override {
    return meter_->ohms(four_wire, range, p);
  }
  bench::ShownVolts volts(Voltage range, const bench::Patience& p) override {
    return meter_->volts(range, p);
  }
  bench::ShownCelsius celsius(const bench::Patience&) override {
    return {celsius_, false, {}, "temperature"};
  }

 private:
  std::unique_ptr<bench::Meter> meter_;
  Temperature celsius_;
};

std::unique_ptr<bench::Console> console_of(const BenchOptions& options) {
  return options.console ? options.console() : hand::open_terminal();
}

}  // namespace

void BenchOptions::add(CLI::App& app, bool required) {
  auto* file = takes_file(app.add_option("--bench", bench, "Bench file"));
  if (required) file->required();
  takes_folder(app.add_option("--dialects", dialects,
                              "Folder of dialect files, instead of the installed one"));
  app.add_option("--celsius", celsius,
                 "Temperature beside the pack, where the bench has no thermometer")
      ->check(CLI::Range(-40.0, 150.0));
  takes_file(app.add_option("--record-dialogue", record_dialogue,
                            "Write every exchange with the instruments to this file"));
  takes_file(app.add_option("--replay-dialogue", replay_dialogue,
                            "Take the instruments' answers from such a file; nothing is connected"))
      ->excludes("--record-dialogue");
}

OpenBench::OpenBench(const BenchOptions& options, const profile::Profile* profile,
                     bool asks_a_person)
    : stop_(options.stop.value_or(stop_token())),
      description_(bench::load_description(options.bench)) {
  if (!options.record_dialogue.empty())
    writer_ = std::make_unique<bench::JournalWriter>(options.record_dialogue);
  if (!options.replay_dialogue.empty())
    reader_ = std::make_unique<bench::JournalReader>(options.replay_dialogue);
  install(options, profile, asks_a_person);
  if (options.celsius && instruments_.meter) {
    instruments_.meter = std::make_unique<TypedThermometer>(std::move(instruments_.meter),
                                                            Temperature::celsius(*options.celsius));
    if (!(description_.thermometer_u_K > 0)) description_.thermometer_u_K = kTypedThermometer_u_K;
  }
}

OpenBench::~OpenBench() = default;

// The line to an instrument: guarded where it must be off when this program dies, written down or
// taken from what was written down.
std::unique_ptr<link::Link> OpenBench::line_to(const scpi::LinkWanted& wanted) {
  if (reader_) return link::replay_link(wanted.role, wanted.address, *reader_);
  auto out = wanted.off.empty() ? link::open_link(wanted.address)
                                : link::open_guarded(wanted.address, {wanted.off, wanted.off_query},
                                                     {"/proc/self/exe", "guardian"});
  if (writer_) out = link::record_link(wanted.role, std::move(out), *writer_);
  return out;
}

void OpenBench::install(const BenchOptions& options, const profile::Profile* profile,
                        bool asks_a_person) {
  const std::string dialects = options.dialects.empty() ? dialect_folder() : options.dialects;
  const std::function open = [this](const scpi::LinkWanted& wanted) { return line_to(wanted); };
  const bool hand = has_hand(description_);
  for (bench::InstrumentDescription& one : description_.instruments) {
    const DriverFamily& driver = driver_named(one.driver, description_.name);
    // In a replay these come out of the dialogue whole, without their drivers.
    if (reader_ && (one.driver == "modbus" || (hand && one.role == "meter"))) continue;
    driver.install({one, description_, dialects, open, writer_.get(), instruments_,
                    bench::Patience(kOpening, stop_)});
  }
  if (reader_) return replay(options);
  const bool helpers = options.person || moved_by_hand(options);
  if (hand || helpers) console_ = asks_a_person ? console_of(options) : std::make_unique<Nobody>();
  if (hand)
    install_hand(profile);
  else if (helpers)
    install_helpers(options);
  if (writer_) record_hands(hand);
}

// What a person does goes into the dialogue, too.
void OpenBench::record_hands(bool probes) {
  if (probes) {
    instruments_.meter = bench::record_port(std::move(instruments_.meter), *writer_);
    instruments_.paths = bench::record_port(std::move(instruments_.paths), *writer_);
  }
  if (instruments_.actuator && has_hand(description_, "actuator"))
    instruments_.actuator = bench::record_port(std::move(instruments_.actuator), *writer_);
  if (instruments_.person)
    instruments_.person = bench::record_port(std::move(instruments_.person), *writer_);
}

bool OpenBench::moved_by_hand(const BenchOptions& options) const {
  return options.hands && has_hand(description_, "actuator");
}

// Relays measure; a person does the rest.
void OpenBench::install_helpers(const BenchOptions& options) {
  instruments_.person = hand::person(*console_);
  if (moved_by_hand(options)) instruments_.actuator = hand::actuator(*console_);
}

void OpenBench::install_hand(const profile::Profile* profile) {
  hand::Wording wording{[profile](const std::string& node) {
                          return pin_text(profile ? *profile : profile::Profile{}, node);
                        },
                        [profile](const std::string& high, const std::string& low) {
                          return profile ? face_text(*profile, high, low) : std::string();
                        }};
  hand::install(description_, *console_, std::move(wording), instruments_);
}

void OpenBench::replay(const BenchOptions& options) {
  const bool hand = has_hand(description_);
  const auto* matrix = description_.find("matrix");
  if (hand) {
    // The accuracy table is filled in by the driver otherwise.
    auto* meter = description_.find("meter");
    if (meter && meter->accuracy.empty()) {
      const std::string folder = options.dialects.empty() ? dialect_folder() : options.dialects;
      meter->accuracy = scpi::Dialect::load(folder + "/" + meter->dialect + ".json").accuracy();
    }
    instruments_.meter = bench::replay_meter(*reader_);
  }
  if ((hand || options.hands) && has_hand(description_, "actuator"))
    instruments_.actuator = bench::replay_actuator(*reader_);
  if (hand || options.person || moved_by_hand(options))
    instruments_.person = bench::replay_person(*reader_);
  if (hand || (matrix && matrix->driver == "modbus"))
    instruments_.paths = bench::replay_paths(*reader_);
}

std::function<double()> OpenBench::now_s() const {
  if (reader_) return [reader = reader_.get()] { return reader->now_s(); };
  const auto start = std::chrono::steady_clock::now();
  return [start, scale = description_.time_scale] {
    return scale * std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  };
}

std::function<void(double)> OpenBench::wait() const {
  if (reader_) return [](double) {};
  return [scale = description_.time_scale, stop = stop_](double seconds) {
    bench::pause(Duration{seconds / scale}, bench::Patience(Duration{seconds}, stop));
  };
}

session::BenchOpener opener(const BenchOptions& options) {
  return [&options](const profile::Profile& profile) -> std::unique_ptr<session::Bench> {
    return std::make_unique<OpenBench>(options, &profile);
  };
}

std::string pin_text(const profile::Profile& profile, const std::string& node) {
  if (node == profile::kCase) return "the case (metal body)";
  if (node == bench::kReferencePlus) return "one end of the reference resistor";
  if (node == bench::kHighReferencePlus) return "one end of the high reference resistor";
  if (node == bench::kReferenceMinus || node == bench::kHighReferenceMinus) return "its other end";
  const auto& pins = profile.connector.pins;
  const auto pin =
      std::find_if(pins.begin(), pins.end(), [&](const auto& p) { return p.number == node; });
  std::string beside = pin == pins.end() ? "" : pin->signal;
  if (profile.harness_pins > 0) switch (profile::side_of(profile, node)) {
      case profile::Side::controller:
        return "pin " + node + " (controller's end of the harness)";
      case profile::Side::plug:
        return node + " (the harness's plug)";
      case profile::Side::pack:
        beside += beside.empty() ? "on the pack" : ", on the pack";
    }
  return "pin " + node + (beside.empty() ? "" : " (" + beside + ")");
}

// Looking into the connector, the pin for the red probe in [ ], for the black in ( ).
std::string face_text(const profile::Profile& profile, const std::string& high,
                      const std::string& low) {
  const auto on_it = [&](const std::string& node) {
    return std::any_of(
        profile.connector.face.begin(), profile.connector.face.end(),
        [&](const auto& row) { return std::find(row.begin(), row.end(), node) != row.end(); });
  };
  if (!on_it(high) && !on_it(low)) return "";
  std::size_t width = 1;
  for (const auto& row : profile.connector.face)
    for (const std::string& pin : row) width = std::max(width, pin.size());
  std::string out;
  for (const auto& row : profile.connector.face) {
    out += out.empty() ? "      " : "\n      ";
    for (const std::string& pin : row) {
      const bool red = pin == high, black = pin == low;
      const std::string padded(width - pin.size(), ' ');
      out += red ? "[" : black ? "(" : " ";
      out += padded + (pin.empty() ? " " : pin);
      out += red ? "]" : black ? ")" : " ";
    }
  }
  return out.empty() ? out : out + "      [ ] red   ( ) black";
}

}  // namespace pinproof::app
