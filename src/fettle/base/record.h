// What a job keeps of things, signatures, broken holds and attempts, as the journal and the rooms that judge it have
// them alike. Each decision word is spelled in journals and JSON as code() says.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "fettle/base/clock.h"
#include "fettle/base/verdict.h"

namespace fettle {

// Of the owner, held by the shop: "owner's map card", the slot it came out of, the number on its bag.
struct Keeping {
    std::string id, words, slot, tag;  // id: "keeping-1", once it is held; slot and tag may be empty
    bool returned = false;
};

// A reason that somebody signed for.
struct Acceptance {
    std::string code;  // the reason's code, or "code:where" when several share it
    std::string by, reason;
    std::optional<Verdict> verdict = std::nullopt;  // what it was when signed: covers that and better, never worse;
                                                    // absent in older entries
    UnixMs at = 0;
};

// Of a hold, while a run was open.
struct Breach {
    std::string hold, witness;  // "support"; "voltage", "bus" or "tap"
    std::string words;          // what was seen: "9.8 V at the supply, from 13.5 V"
    UnixMs at = 0;
};

// What the journal says has become of a run. Broken off: a person gave it up; nothing is asked for it any more, and it
// stands as it was then.
enum class RunState { open, ended, broken_off };
std::string_view code(RunState state);  // "", "ended", "broken off"

// Kinds of attempts to mend a broken run, and the end of them all.
enum class MendKind { wait, same_card, laid_again_card, recovery_card, power_off_and_on, other_supply, hand_over };
std::string_view code(MendKind kind);  // "same card"
std::optional<MendKind> mend_kind_named(std::string_view code);

// What came of one. begun_again: another run was begun to the same release.
enum class Came { done, nothing, better, worse, begun_again };
std::string_view code(Came came);  // "begun again"
std::optional<Came> came_named(std::string_view code);

struct Tried {
    MendKind kind = MendKind::wait;
    Came came = Came::nothing;
};

}  // namespace fettle
