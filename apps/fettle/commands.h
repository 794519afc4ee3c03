// How the terminal shows what can be done next: each act as the command that does it, quoted so that it can be typed or
// pasted as it stands. The only file that knows which command an act is.
#pragma once

#include <string>

#include "fettle/base/next.h"

namespace fettle::app {

// "fettle job consent 00042-3 one-way --by NAME"; an argument alone: "--by NAME".
std::string as_command(const Proposal& act);

// One word of a POSIX shell: quoted only where it has to be, and harmless to show.
std::string shell_word(const std::string& text);

}  // namespace fettle::app
