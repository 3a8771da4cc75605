// What every simulated instrument has of IEEE 488.2 and SCPI-99: compound
// messages, header paths, the error queue and the common commands.
#pragma once

#include <deque>
#include <optional>
#include <string>
#include <string_view>

#include "quantity/error.h"
#include "scpi/dialect.h"
#include "simulated/world.h"

namespace pinproof::simulated {

class ScpiDevice {
 public:
  /// Answers to *IDN? as the dialect's example, or as `identity` where it has none.
  ScpiDevice(World& world, scpi::Dialect dialect, std::string identity)
      : world_(world), dialect_(std::move(dialect)), identity_(std::move(identity)) {
    if (!dialect_.identity_example().empty()) identity_ = dialect_.identity_example();
  }
  virtual ~ScpiDevice() = default;
  ScpiDevice(const ScpiDevice&) = delete;
  ScpiDevice& operator=(const ScpiDevice&) = delete;

  /// One line without its end; the reply without its end, all queries of the
  /// line joined by ';', or nullopt when nothing was asked.
  std::optional<std::string> answer(std::string_view line);
  const std::string& role() const { return dialect_.role(); }
  const scpi::Dialect& dialect() const { return dialect_; }

 protected:
  /// An operation of the dialect beyond the common ones. A text is its answer.
  virtual std::optional<std::string> perform(const scpi::Call& call) = 0;
  virtual void reset() {}
  void error(int number, std::string_view text);
  World& world() { return world_; }

  /// Throws Error(usage) where the dialect, which may be anybody's, gives the operation no such
  /// argument.
  template <class T>
  static const T& argument(const scpi::Call& call, std::string_view name) {
    const auto it = call.arguments.find(name);
    const T* out = it == call.arguments.end() ? nullptr : std::get_if<T>(&it->second);
    if (!out)
      throw Error(Fault::usage,
                  call.operation + ": the dialect has no {" + std::string(name) + "}");
    return *out;
  }
  static double number(const scpi::Call& call, std::string_view name) {
    return argument<double>(call, name);
  }
  static std::optional<double> optional_number(const scpi::Call& call, std::string_view name) {
    if (!call.arguments.contains(name)) return std::nullopt;
    return number(call, name);
  }
  static const std::vector<std::string>& channels(const scpi::Call& call) {
    return argument<std::vector<std::string>>(call, "channels");
  }

 private:
  std::optional<std::string> unit(std::string_view text, std::string& path);
  std::optional<std::string> common(std::string_view header, std::string_view parameters,
                                    bool& known);
  std::optional<std::string> common_query(std::string_view header);
  bool common_command(std::string_view header);
  void set_register(std::string_view parameters, unsigned& where);
  unsigned status_byte() const;
  bool completes() const;
  std::optional<std::string> dispatch(const scpi::Call& call);
  void restart();

  World& world_;
  scpi::Dialect dialect_;
  std::string identity_;
  std::deque<std::string> errors_;
  bool restarted_ = false;
  unsigned event_status_ = 0, event_enable_ = 0, service_enable_ = 0;
};

/// "+1.30012000E+01": as bench meters send numbers.
std::string scientific(double value);

}  // namespace pinproof::simulated
