// The parts of loading a family file: each reads some sections of the tree into the family, and checks on values that
// need more than one section run after all of them. Internal to family/.
#pragma once

#include "fettle/family/section.h"

namespace fettle::family {

// Sections → values.
void read_head(Section& top, Family& f);      // family
void read_labels(Section& top, Family& f);    // box, pair, view
void read_releases(Section& top, Family& f);  // release
void read_package(Section& top, Family& f);
void read_card(Section& top, Family& f);
void read_regions(Section& top, Family& f);  // region, flag
void read_script(Section& top, Family& f);   // act
void read_boot(Section& top, Family& f);     // boot, bench_repair
void read_screen(Section& top, Family& f);   // tally, message, hold, try
void read_touch(Section& top, Family& f);    // screen
void read_supply(Section& top, Family& f);
void read_stuck(Section& top, Family& f);
void read_link(Section& top, Family& f);     // link, fault
void read_watched(Section& top, Family& f);  // watched

// Values → mistakes. The n-th entry of a list section stands in the family at n - 1: sections keep what is broken, so
// that keys and values stay in step.
void check_labels(const Family& f, Log& log);
void check_releases(const Family& f, Log& log);
void check_writes(const Family& f, Log& log);  // regions, flags
void check_script(const Family& f, Log& log);
void check_boot(const Family& f, Log& log);
void check_rules(const Family& f, Log& log);  // rules that cannot all be kept, or never come to bear
void check_link(const Family& f, Log& log);
void check_touch(const Family& f, Log& log);  // screens, and the areas that asks name
void check_level(const Family& f, Log& log);

// What the file leaves open, and which answers wait for it.
void list_unknowns(const Family& f, Log& log);

// "main, display": for messages.
std::string roles_of(const Family& f);
// Reports values that stand twice in a list section; name(i) is the value of entry i, key the section's key.
void check_unique(Log& log, std::string_view section, std::string_view key, const std::vector<std::string>& names,
                  std::string_view what);
// The same for a plain list of texts; list_key is the list's dotted key.
void check_unique_list(Log& log, std::string_view list_key, const std::vector<std::string>& names,
                       std::string_view what);

}  // namespace fettle::family
