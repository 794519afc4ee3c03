// What the apply*.cc files share. Internal to this room.
#pragma once

#include "fettle/book/fold.h"

namespace fettle::book {

// When it happened: people also tell what they saw a while ago.
UnixMs instant_of(const Entry& e, Members& m);
std::vector<Installed> installed_of(Members& m, std::string_view key);
int count_of(Members& m, std::string_view key);
std::optional<Place> place_of(Members& m);  // none: not said
Origin origin_of(Members& m, std::string_view key);

// apply_run.cc: a run from its start to its end
void started(Job& job, const Entry& e, Members& m);
void mark(Job& job, const Entry& e, Members& m);
void shows(Job& job, const Entry& e, Members& m);
void tally(Job& job, const Entry& e, Members& m);
void breach(Job& job, const Entry& e, Members& m);
void unmark(Job& job, const Entry& e, Members& m);
void ended(Job& job, const Entry& e, Members& m);
void called(Job& job, const Entry& e, Members& m);
void series(Job& job, const Entry& e, Members& m);
void times(Job& job, const Entry& e, Members& m);

// apply_facts.cc: what was read of the boxes, cleared in them, and found after a run broke
void inventory(Job& job, const Entry& e, Members& m);
void faults(Job& job, const Entry& e, Members& m);
void clearing(Job& job, const Entry& e, Members& m);
void cleared(Job& job, const Entry& e, Members& m);
void aftermath(Job& job, const Entry& e, Members& m);
void attempt(Job& job, const Entry& e, Members& m);
void advised(Job& job, const Entry& e, Members& m);

}  // namespace fettle::book
