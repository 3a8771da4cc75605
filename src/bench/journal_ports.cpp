#include "bench/journal_ports.h"

#include <cmath>
#include <type_traits>

#include "quantity/text.h"

namespace pinproof::bench {
namespace {

constexpr const char* kMeter = "port meter";
constexpr const char* kPaths = "port paths";
constexpr const char* kActuator = "port actuator";
constexpr const char* kPerson = "port person";
constexpr std::string_view kYes = "yes", kNo = "no";
constexpr std::string_view kBack = "wanted to go back";
constexpr std::string_view kSkip = "wanted to skip: ";

std::string list(const std::vector<std::string>& words) {
  std::string out;
  for (const std::string& word : words) out += (out.empty() ? "" : ",") + word;
  return out;
}

std::string text_of(const Connection& c) { return list(c.high) + " / " + list(c.low); }

std::string text_of(const Rows& rows) {
  std::string out;
  for (const auto& [row, nodes] : rows) out += (out.empty() ? "" : " ") + row + "=" + list(nodes);
  return out;
}

double number_of(Resistance r) { return r.si(); }
double number_of(Voltage v) { return v.si(); }
double number_of(Temperature t) { return t.celsius(); }

template <class Measurand>
Measurand of_number(double value) {
  if constexpr (std::is_same_v<Measurand, Temperature>)
    return Temperature::celsius(value);
  else
    return Measurand(value);
}

// "13.02 100 ohm-4w", "overload 1e+08 ohm-2w".
template <class Measurand>
std::string text_of(const Shown<Measurand>& s) {
  return (s.overload ? std::string("overload") : exact(number_of(s.value))) + " " +
         exact(number_of(s.range)) + " " + s.function;
}

template <class Measurand>
Shown<Measurand> shown_from(const std::string& text) {
  const auto a = text.find(' ');
  const auto b = text.find(' ', a + 1);
  if (a == std::string::npos || b == std::string::npos)
    throw Error(Fault::usage, "dialogue: \"" + text + "\" is no reading");
  const auto value = parse_number(text.substr(0, a));
  const auto range = parse_number(text.substr(a + 1, b - a - 1));
  return {of_number<Measurand>(value.value_or(std::nan(""))), !value,
          of_number<Measurand>(range.value_or(0)), text.substr(b + 1)};
}

class Keeper {
 public:
  Keeper(const char* who, JournalWriter& journal) : who_(who), journal_(journal) {}

  template <class Action>
  std::string keep(const char* did, std::string asked, const Action& action) {
    Exchange exchange{0, who_, did, std::move(asked), "", std::nullopt};
    try {
      exchange.answer = action();
    } catch (const Error& e) {
      exchange.answer = e.what(), exchange.fault = e.fault();
      journal_.add(exchange);
      throw;
    } catch (const Detour& d) {
      const bool back = d.kind() == DetourKind::back;
      exchange.answer = back ? std::string(kBack) : std::string(kSkip) + d.reason();
      journal_.add(exchange);
      throw;
    }
    journal_.add(exchange);
    return exchange.answer;
  }

 private:
  std::string who_;
  JournalWriter& journal_;
};

std::string replayed(JournalReader& journal, const char* who, const char* did,
                     const std::string& asked) {
  std::string answer = journal.replay(who, did, asked);
  if (answer == kBack) throw Detour(DetourKind::back, "");
  if (answer.starts_with(kSkip)) throw Detour(DetourKind::skip, answer.substr(kSkip.size()));
  return answer;
}

std::string ohms_asked(bool four_wire, Resistance range) {
  return (four_wire ? "4-wire " : "2-wire ") + exact(range.si());
}

class KeptMeter final : public Meter {
 public:
  KeptMeter(std::unique_ptr<Meter> meter, JournalWriter& journal)
      : meter_(std::move(meter)), keeper_(kMeter, journal) {
    keeper_.keep("name", "", [&] { return meter_->name(); });
    keeper_.keep("can", "", [&] {
      return std::string(meter_->can_four_wire() ? "4-wire " : "") +
             (meter_->can_celsius() ? "celsius" : "");
    });
  }
  std::string name() const override { return meter_->name(); }
  bool can_four_wire() const override { return meter_->can_four_wire(); }
  bool can_celsius() const override { return meter_->can_celsius(); }
  ShownOhms ohms(bool four_wire, Resistance range, const Patience& patience) override {
    return shown_from<Resistance>(keeper_.keep("ohms", ohms_asked(four_wire, range), [&] {
      return text_of(meter_->ohms(four_wire, range, patience));
    }));
  }
  ShownVolts volts(Voltage range, const Patience& patience) override {
    return shown_from<Voltage>(keeper_.keep(
        "volts", exact(range.si()), [&] { return text_of(meter_->volts(range, patience)); }));
  }
  ShownCelsius celsius(const Patience& patience) override {
    return shown_from<Temperature>(
        keeper_.keep("celsius", "", [&] { return text_of(meter_->celsius(patience)); }));
  }

 private:
  std::unique_ptr<Meter> meter_;
  Keeper keeper_;
};

class ReplayedMeter final : public Meter {
 public:
  explicit ReplayedMeter(JournalReader& journal)
      : journal_(journal),
        name_(replayed(journal, kMeter, "name", "")),
        can_(replayed(journal, kMeter, "can", "")) {}
  std::string name() const override { return name_; }
  bool can_four_wire() const override { return can_.find("4-wire") != std::string::npos; }
  bool can_celsius() const override { return can_.find("celsius") != std::string::npos; }
  ShownOhms ohms(bool four_wire, Resistance range, const Patience&) override {
    return shown_from<Resistance>(replayed(journal_, kMeter, "ohms", ohms_asked(four_wire, range)));
  }
  ShownVolts volts(Voltage range, const Patience&) override {
    return shown_from<Voltage>(replayed(journal_, kMeter, "volts", exact(range.si())));
  }
  ShownCelsius celsius(const Patience&) override {
    return shown_from<Temperature>(replayed(journal_, kMeter, "celsius", ""));
  }

 private:
  JournalReader& journal_;
  std::string name_, can_;
};

std::string drive_asked(const Connection& drive, const Connection& probe) {
  return text_of(drive) + " probe " + text_of(probe);
}

class KeptPaths final : public Paths {
 public:
  KeptPaths(std::unique_ptr<Paths> paths, JournalWriter& journal)
      : paths_(std::move(paths)), keeper_(kPaths, journal) {
    keeper_.keep("can", "", [&] {
      return std::string(paths_->can_tie() ? "tie " : "") + (paths_->can_drive() ? "drive" : "");
    });
  }
  bool can_tie() const override { return paths_->can_tie(); }
  bool can_drive() const override { return paths_->can_drive(); }
  void connect_meter(const Connection& to, bool sense, Resistance expected,
                     const Patience& patience) override {
    keeper_.keep("connect meter", text_of(to), [&] {
      paths_->connect_meter(to, sense, expected, patience);
      return "";
    });
  }
  void connect_drive(const Connection& drive, const Connection& probe,
                     const Patience& patience) override {
    keeper_.keep("connect drive", drive_asked(drive, probe), [&] {
      paths_->connect_drive(drive, probe, patience);
      return "";
    });
  }
  void connect_rows(const Rows& rows, const Patience& patience) override {
    keeper_.keep("connect rows", text_of(rows), [&] {
      paths_->connect_rows(rows, patience);
      return "";
    });
  }
  bool still_connected(const Patience& patience) override {
    return keeper_.keep("still connected", "", [&] {
      return std::string(paths_->still_connected(patience) ? kYes : kNo);
    }) == kYes;
  }
  void open_all(const Patience& patience) override {
    keeper_.keep("open all", "", [&] {
      paths_->open_all(patience);
      return "";
    });
  }

 private:
  std::unique_ptr<Paths> paths_;
  Keeper keeper_;
};

class ReplayedPaths final : public Paths {
 public:
  explicit ReplayedPaths(JournalReader& journal)
      : journal_(journal), can_(replayed(journal, kPaths, "can", "")) {}
  bool can_tie() const override { return can_.find("tie") != std::string::npos; }
  bool can_drive() const override { return can_.find("drive") != std::string::npos; }
  void connect_meter(const Connection& to, bool, Resistance, const Patience&) override {
    replayed(journal_, kPaths, "connect meter", text_of(to));
  }
  void connect_drive(const Connection& drive, const Connection& probe, const Patience&) override {
    replayed(journal_, kPaths, "connect drive", drive_asked(drive, probe));
  }
  void connect_rows(const Rows& rows, const Patience&) override {
    replayed(journal_, kPaths, "connect rows", text_of(rows));
  }
  bool still_connected(const Patience&) override {
    return replayed(journal_, kPaths, "still connected", "") == kYes;
  }
  void open_all(const Patience&) override { replayed(journal_, kPaths, "open all", ""); }

 private:
  JournalReader& journal_;
  std::string can_;
};

std::string air_asked(const std::vector<std::string>& elements, Pressure pressure) {
  return list(elements) + " " + exact(pressure.si());
}

class KeptActuator final : public Actuator {
 public:
  KeptActuator(std::unique_ptr<Actuator> actuator, JournalWriter& journal)
      : actuator_(std::move(actuator)), keeper_(kActuator, journal) {}
  void lever(std::size_t position, const std::string& name, const Patience& patience) override {
    keeper_.keep("lever", name, [&] {
      actuator_->lever(position, name, patience);
      return "";
    });
  }
  void air(const std::vector<std::string>& elements, Pressure pressure,
           const Patience& patience) override {
    keeper_.keep("air", air_asked(elements, pressure), [&] {
      actuator_->air(elements, pressure, patience);
      return "";
    });
  }
  std::optional<Pressure> measured(const Patience& patience) override {
    const std::string answer = keeper_.keep("measured", "", [&] {
      const auto pressure = actuator_->measured(patience);
      return pressure ? exact(pressure->si()) : std::string();
    });
    const auto pascal = parse_number(answer);
    return pascal ? std::optional(Pressure{*pascal}) : std::nullopt;
  }
  bool by_hand() const override { return actuator_->by_hand(); }

 private:
  std::unique_ptr<Actuator> actuator_;
  Keeper keeper_;
};

class KeptPerson final : public Person {
 public:
  KeptPerson(std::unique_ptr<Person> person, JournalWriter& journal)
      : person_(std::move(person)), keeper_(kPerson, journal) {}
  void please(const std::string& kind, const std::string& what, const Patience& patience) override {
    keeper_.keep("please", what, [&] {
      person_->please(kind, what, patience);
      return "";
    });
  }

 private:
  std::unique_ptr<Person> person_;
  Keeper keeper_;
};

class ReplayedPerson final : public Person {
 public:
  explicit ReplayedPerson(JournalReader& journal) : journal_(journal) {}
  void please(const std::string&, const std::string& what, const Patience&) override {
    replayed(journal_, kPerson, "please", what);
  }

 private:
  JournalReader& journal_;
};

class ReplayedActuator final : public Actuator {
 public:
  explicit ReplayedActuator(JournalReader& journal) : journal_(journal) {}
  void lever(std::size_t, const std::string& name, const Patience&) override {
    replayed(journal_, kActuator, "lever", name);
  }
  void air(const std::vector<std::string>& elements, Pressure pressure, const Patience&) override {
    replayed(journal_, kActuator, "air", air_asked(elements, pressure));
  }
  std::optional<Pressure> measured(const Patience&) override {
    const auto pascal = parse_number(replayed(journal_, kActuator, "measured", ""));
    return pascal ? std::optional(Pressure{*pascal}) : std::nullopt;
  }
  // Any other actuator comes out of the dialogue of its driver.
  bool by_hand() const override { return true; }

 private:
  JournalReader& journal_;
};

}  // namespace

std::unique_ptr<Meter> record_port(std::unique_ptr<Meter> meter, JournalWriter& journal) {
  return std::make_unique<KeptMeter>(std::move(meter), journal);
}
std::unique_ptr<Paths> record_port(std::unique_ptr<Paths> paths, JournalWriter& journal) {
  return std::make_unique<KeptPaths>(std::move(paths), journal);
}
std::unique_ptr<Actuator> record_port(std::unique_ptr<Actuator> actuator, JournalWriter& journal) {
  return std::make_unique<KeptActuator>(std::move(actuator), journal);
}
std::unique_ptr<Person> record_port(std::unique_ptr<Person> person, JournalWriter& journal) {
  return std::make_unique<KeptPerson>(std::move(person), journal);
}
std::unique_ptr<Meter> replay_meter(JournalReader& journal) {
  return std::make_unique<ReplayedMeter>(journal);
}
std::unique_ptr<Paths> replay_paths(JournalReader& journal) {
  return std::make_unique<ReplayedPaths>(journal);
}
std::unique_ptr<Actuator> replay_actuator(JournalReader& journal) {
  return std::make_unique<ReplayedActuator>(journal);
}
std::unique_ptr<Person> replay_person(JournalReader& journal) {
  return std::make_unique<ReplayedPerson>(journal);
}

}  // namespace pinproof::bench
