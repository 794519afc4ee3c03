#include "fettle/base/record.h"

namespace fettle {

std::string_view code(RunState state) {
    switch (state) {
        case RunState::open: return "";
        case RunState::ended: return "ended";
        case RunState::broken_off: return "broken off";
    }
    return "";
}

std::string_view code(MendKind kind) {
    switch (kind) {
        case MendKind::wait: return "wait";
        case MendKind::same_card: return "same card";
        case MendKind::laid_again_card: return "laid-again card";
        case MendKind::recovery_card: return "recovery card";
        case MendKind::power_off_and_on: return "power off and on";
        case MendKind::other_supply: return "other supply";
        case MendKind::hand_over: return "hand over";
    }
    return "";
}

std::optional<MendKind> mend_kind_named(std::string_view word) {
    for (int k = 0; k <= static_cast<int>(MendKind::hand_over); ++k)
        if (word == code(static_cast<MendKind>(k))) return static_cast<MendKind>(k);
    return std::nullopt;
}

std::string_view code(Came came) {
    switch (came) {
        case Came::done: return "done";
        case Came::nothing: return "nothing";
        case Came::better: return "better";
        case Came::worse: return "worse";
        case Came::begun_again: return "begun again";
    }
    return "";
}

std::optional<Came> came_named(std::string_view word) {
    for (const Came c : {Came::done, Came::nothing, Came::better, Came::worse, Came::begun_again})
        if (word == code(c)) return c;
    return std::nullopt;
}

}  // namespace fettle
