// What becomes of one request: four outcomes that are never mixed up.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "fettle/base/bytes.h"

namespace fettle::link {

enum class Said {
    value,      // answered, `data` is the whole positive answer (or the record, where a call says so)
    refused,    // answered no: `nrc`
    no_answer,  // not answered in time, connection lost, not reachable through the entity, or not asked: `why`
    nonsense,   // answered, but not in a form that can be believed: `why`; nothing of it is kept
};
std::string_view words(Said s);
std::string_view code(Said s);  // "value", "refused", "no-answer", "nonsense"

struct Reply {
    Said said = Said::no_answer;
    Bytes data{};
    std::uint8_t nrc = 0;
    std::string why{};  // one clause for people; for refused "requestOutOfRange (0x31): …"
    bool sent = false;  // the request went out: whatever was said, the box may have taken it
};

Reply no_answer(std::string why);
Reply nonsense(std::string why);
Reply refused(std::uint8_t nrc);

}  // namespace fettle::link
