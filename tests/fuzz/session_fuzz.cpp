// An instrument that answers whatever it likes: the first byte chooses the dialect, the rest is
// what comes over the link. Every call ends in a figure that can be used or in an Error.
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <memory>
#include <vector>

#include "scpi/instruments.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

const bench::Patience kPatience{Duration{0.004}};  // who is busy may say so once
constexpr std::size_t kPoints = 16;

// The input as an instrument's answers. What is not there has not come in time.
class Babble final : public link::Link {
 public:
  explicit Babble(std::string_view answers) : answers_(answers) {}
  const std::string& address() const override { return address_; }
  void write(std::string_view message, const bench::Patience&) override {
    expect(!message.empty(), "a message has a line end at least");
  }
  std::string read_line(std::size_t at_most, const bench::Patience&) override {
    const std::size_t end = answers_.find('\n');
    if (end == std::string_view::npos) late();
    if (end > at_most) throw Error(Fault::bad_reply, "longer than allowed");
    std::string out(take_line(answers_));
    if (out.ends_with('\r')) out.pop_back();
    return out;
  }
  std::string read_exactly(std::size_t count, const bench::Patience&) override {
    expect(count <= (std::size_t{1} << 20), "no more is asked for than was wanted");
    if (count > answers_.size()) late();
    std::string out(answers_.substr(0, count));
    answers_.remove_prefix(count);
    return out;
  }
  void discard(Duration, const bench::Patience&) override {}
  bool late_replies_survive() const override { return true; }
  void close() noexcept override {}

 private:
  [[noreturn]] void late() {
    answers_ = {};
    throw Error(Fault::timeout, "no reply");
  }
  std::string_view answers_;
  std::string address_ = "tcp://fuzz:1";
};

struct Quick {
  std::string file;
  scpi::Dialect dialect;
};

// All dialects of the project, without the silence that some want between two messages.
std::vector<Quick> quick_dialects() {
  const std::string folder = in_project("drivers/dialects");
  std::vector<Quick> out;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    if (entry.path().extension() != ".json") continue;
    const std::string name = entry.path().stem().string();
    const std::string text = R"({"schema":"pinproof/dialect/1","name":"quick","inherits":")" +
                             name + R"(","wire":{"gap_s":0},"commands":{}})";
    out.push_back({name, scpi::Dialect::parse(text, folder + "/fuzz.json")});
  }
  return out;
}

// Another name is as good as any.
const scpi::Dialect& dialect_named(std::string_view name) {
  static const std::vector<Quick> kAll = quick_dialects();
  const auto it =
      std::find_if(kAll.begin(), kAll.end(), [&](const Quick& one) { return one.file == name; });
  return it == kAll.end() ? kAll[name.size() % kAll.size()].dialect : it->dialect;
}

bench::Description bench_for() {
  bench::Description out;
  out.name = "fuzz";
  for (const char* row : {"force_high", "force_low", "sense_high", "sense_low", "drive_high",
                          "drive_low", "probe_high", "probe_low"})
    out.fixture.rows[row] = std::to_string(out.fixture.rows.size() + 1);
  out.fixture.columns = {{"1", "1"}, {"2", "2"}, {"case", "3"}};
  out.fixture.elements = {{"E1", "1"}, {"E2", "2"}};
  out.fixture.shunt = {"2", 0.1, 1e-4};
  out.fixture.probe_channel = "1", out.fixture.supply_channel = "3";
  return out;
}

void expect_shown(double value, bool overload) {
  expect(overload ? std::isnan(value) : std::isfinite(value), "a number, or an overload");
}

void use_meter(bench::Meter& meter) {
  const auto ohms = meter.ohms(meter.can_four_wire(), Resistance{100}, kPatience);
  expect_shown(ohms.value.si(), ohms.overload);
  const auto volts = meter.volts(Voltage{10}, kPatience);
  expect_shown(volts.value.si(), volts.overload);
  if (!meter.can_celsius()) return;
  const auto celsius = meter.celsius(kPatience);
  expect_shown(celsius.value.celsius(), celsius.overload);
}

void use_paths(bench::Paths& paths) {
  paths.connect_meter({{"1"}, {"case"}}, true, Resistance{10}, kPatience);
  paths.open_all(kPatience);
  if (paths.can_drive()) paths.connect_drive({{"1"}, {"2"}}, {{"1"}, {"2"}}, kPatience);
}

void use_supply(bench::Supply& supply) {
  accepted([&] {
    supply.set(Voltage{12}, Current{1}, kPatience);
    supply.pulse(Duration{0.001}, kPatience);
  });
  supply.off();
}

void use_digitiser(bench::Digitiser& digitiser) {
  digitiser.arm({kPoints, Duration{1e-5}, 4, Voltage{20}, Voltage{1}, Voltage{20}}, kPatience);
  const auto sweep = digitiser.fetch(kPatience);
  expect(sweep.interval >= Duration{0.5e-5} && sweep.interval <= Duration{1.5e-5},
         "sampled about as asked");
  for (const auto* channel : {&sweep.probe_V, &sweep.shunt_V, &sweep.supply_V}) {
    expect(channel->size() == kPoints, "as many samples as asked");
    for (const double v : *channel) expect(std::isfinite(v), "a sample is a number");
  }
}

void use_actuator(bench::Actuator& actuator) {
  actuator.air({"E1"}, Pressure{4e5}, kPatience);
  if (const auto measured = actuator.measured(kPatience))
    expect(std::isfinite(measured->si()), "a pressure is a number");
  actuator.lever(1, "R", kPatience);
}

void use(const scpi::Dialect& dialect, std::string_view answers) {
  static const bench::Description kBench = bench_for();
  bench::InstrumentDescription one;
  one.role = dialect.role(), one.max_voltage_V = 30, one.max_current_A = 5;
  scpi::Session session(one.role, std::make_unique<Babble>(answers), dialect);
  session.open(kPatience);
  bench::Instruments all;
  for (const scpi::Driver* driver : scpi::drivers())
    if (driver->role == one.role) {
      driver->install(std::move(session), one, kBench, all);
      break;
    }
  // A second time after whatever went wrong: the conversation is put in order first.
  for (int k = 0; k < 2; ++k)
    accepted([&] {
      if (all.meter) use_meter(*all.meter);
      if (all.paths) use_paths(*all.paths);
      if (all.supply) use_supply(*all.supply);
      if (all.digitiser) use_digitiser(*all.digitiser);
      if (all.actuator) use_actuator(*all.actuator);
    });
}

}  // namespace

void try_session(std::string_view input) {
  const scpi::Dialect& dialect = dialect_named(take_line(input));
  accepted([&] { use(dialect, input); });
}

}  // namespace pinproof::fuzz
