// Man page and shell completion, written from the same definitions that parse the command line.
#pragma once

#include <string>

namespace CLI {
class App;
}

namespace fettle::app {

std::string man_page(const CLI::App& app);         // troff, man(7)
std::string bash_completion(const CLI::App& app);  // source it, or put it into bash-completion's folder

}  // namespace fettle::app
