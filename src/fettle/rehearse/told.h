// What a rehearsal tells while it goes on, as values: whoever called it makes words of them. Each counts only as long
// as the call that brings it.
#pragma once

#include <cstdint>
#include <string>
#include <variant>
#include <vector>

#include "fettle/base/next.h"
#include "fettle/base/result.h"
#include "fettle/family/family.h"
#include "fettle/watch/tracker.h"

namespace fettle::workshop {
struct TakenIn;
struct Shelving;
struct Identified;
struct BoxesRead;
struct MemoryRead;
struct Planned;
struct LaidCard;
struct AuditedCard;
struct Answered;
struct ReadyChecked;
struct Accepted;
struct Started;
struct Mended;
struct AsLeft;
struct FaultsKept;
struct Proved;
struct ReturnedThing;
struct EndDone;
struct HandedOver;
struct SheetChecked;
class RunFollow;
}  // namespace fettle::workshop

namespace fettle::rehearse {

struct Cut;

struct Begins {
    const family::Family& family;
    std::string from, to;
    double speed = 1;
    std::uint64_t seed = 1;
    bool own_shelf = false;  // releases of the shop's own shelf, not examples
};

struct GoesOn {  // one that was left in the middle
    const family::Family& family;
    std::string from, to, job;
    double speed = 1;
};

struct NoAnswer {  // a broken set was asked what it holds; that nobody answers is a part of the practice
    const Error* error = nullptr;
};
// What came of an act of the job; its kind says which act it was.
using Outcome = std::variant<const workshop::TakenIn*, const workshop::Shelving*, const workshop::Identified*,
                             const workshop::BoxesRead*, const workshop::MemoryRead*, const workshop::Planned*,
                             const workshop::LaidCard*, const workshop::AuditedCard*, const workshop::Answered*,
                             const workshop::ReadyChecked*, const workshop::Accepted*, const workshop::Started*,
                             const workshop::Mended*, const workshop::AsLeft*, const workshop::FaultsKept*,
                             const workshop::Proved*, const workshop::ReturnedThing*, const workshop::EndDone*,
                             const workshop::HandedOver*, const workshop::SheetChecked*, NoAnswer>;
struct Done {
    Outcome outcome;
    std::vector<Argument> said;  // for the act, as the person would say it in the rehearsal's folder
    bool at_length = false;      // worth reading whole, not only its headline

    Proposal act() const;  // as an answer would propose it
};

struct TakesUp {  // a step whose run had begun before: what the journal holds of it is passed unseen
    int step = 0;
    std::string release;
    int signs = 0;
};

struct Fed {  // the virtual technician fed a line that the box slept for
    std::string line;
};

struct PowerWent {
    const Cut& cut;
};

struct Looked {  // where the run is
    const workshop::RunFollow& follow;
    const watch::Where& where;
    bool matters = false;  // it asks, ends, or has just come to where there is no way back
};

using Told = std::variant<Begins, GoesOn, Done, TakesUp, Fed, PowerWent, Looked>;

}  // namespace fettle::rehearse
