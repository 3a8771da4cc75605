#include <string>
#include <vector>

#include "app/program.h"
#include "app/stop.h"

int main(int argc, char** argv) {
  pinproof::app::listen_for_signals();
  const std::vector<std::string> words(argv, argv + argc);
  return pinproof::app::run_program(words);
}
