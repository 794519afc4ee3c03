#include "fettle/show/faults.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/show/print.h"

namespace fettle::show {

boost::json::array faults_as_json(const prove::Faults& faults) {
    boost::json::array out;
    for (const prove::Attributed& a : faults.entries) {
        boost::json::object o{{"box", a.fault.box},
                              {"code", a.fault.code},
                              {"code_words", prove::code_words(a.fault.code)},
                              {"kind", json_word(prove::words(a.kind))},
                              {"why", a.why},
                              {"next", a.next},
                              {"may_be_cleared", a.may_be_cleared}};
        if (a.fault.status) {
            o["status"] = *a.fault.status;
            boost::json::array bits;
            for (const auto b : prove::status_bits(*a.fault.status)) bits.push_back(boost::json::string(b));
            o["bits"] = bits;
        }
        out.push_back(o);
    }
    return out;
}

std::string faults_as_text(const prove::Faults& faults) {
    std::string out = faults.sentence + "\n";
    for (const prove::Attributed& a : faults.entries)
        out += fmt::format("  {}: {}; next: {}\n", prove::words(a.kind), a.why, a.next);
    return out;
}

}  // namespace fettle::show
