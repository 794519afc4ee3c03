// What single facts of a job read like on the sheet. Internal to this room.
#pragma once

#include <string>
#include <vector>

#include "fettle/book/job.h"

namespace fettle::handover {

std::string time_words(UnixMs t);      // "2026-11-25 10:03 +01:00", as the clock on the wall of this place shows it
std::string status_words(int status);  // of a fault entry, from ISO 14229-1 D.2; bad news first
std::string fault_words(const book::FaultRecord& record);
std::string cleared_words(const book::Clearing& clearing);
std::string known_words(Origin origin);
std::string lasted_words(const book::Run& run);             // empty while it is open
std::vector<std::string> mend_words(const book::Run& run);  // what was found after it broke, advised and tried
std::vector<std::string> who_worked(const book::Job& job);  // in order of first appearance

}  // namespace fettle::handover
