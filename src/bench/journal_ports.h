// Ports whose calls are written into a journal, or come out of one: for drivers
// that do not speak through a link of ours (a person, a relay board's library).
#pragma once

#include <memory>

#include "bench/journal.h"
#include "bench/ports.h"

namespace pinproof::bench {

/// `journal` outlives the ports. A skip or a step back is kept as well.
std::unique_ptr<Meter> record_port(std::unique_ptr<Meter> meter, JournalWriter& journal);
std::unique_ptr<Paths> record_port(std::unique_ptr<Paths> paths, JournalWriter& journal);
std::unique_ptr<Actuator> record_port(std::unique_ptr<Actuator> actuator, JournalWriter& journal);
std::unique_ptr<Person> record_port(std::unique_ptr<Person> person, JournalWriter& journal);

std::unique_ptr<Meter> replay_meter(JournalReader& journal);
std::unique_ptr<Paths> replay_paths(JournalReader& journal);
std::unique_ptr<Actuator> replay_actuator(JournalReader& journal);
std::unique_ptr<Person> replay_person(JournalReader& journal);

}  // namespace pinproof::bench
