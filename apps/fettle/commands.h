// How the terminal shows what can be done next: each act as the command that does it, quoted so that it can be typed or
// pasted as it stands. The only file that knows which command an act is.
#pragma once

#include <string>

#include "fettle/base/next.h"
#include "fettle/rehearse/told.h"

namespace fettle::app {

// "fettle job consent 00042-3 one-way --by NAME"
std::string as_command(const Proposal& act);

// What a rehearsal did, as the person would have typed it.
std::string command_of(const rehearse::Done& done);

// One word of a POSIX shell: quoted only where it has to be, and harmless to show.
std::string shell_word(const std::string& text);

}  // namespace fettle::app
