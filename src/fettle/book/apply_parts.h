// What apply.cc and apply_facts.cc share. Internal to this room.
#pragma once

#include "fettle/book/fold.h"

namespace fettle::book {

// When it happened: people also tell what they saw a while ago.
UnixMs instant_of(const Entry& e, Members& m);
std::vector<Installed> installed_of(Members& m, std::string_view key);

// apply_facts.cc: what was read of the boxes, cleared in them, and found after a run broke
void inventory(Job& job, const Entry& e, Members& m);
void faults(Job& job, const Entry& e, Members& m);
void clearing(Job& job, const Entry& e, Members& m);
void cleared(Job& job, const Entry& e, Members& m);
void aftermath(Job& job, const Entry& e, Members& m);
void attempt(Job& job, const Entry& e, Members& m);
void advised(Job& job, const Entry& e, Members& m);

}  // namespace fettle::book
