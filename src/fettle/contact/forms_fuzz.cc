// Any bytes as a text of a package: every reading is square and bounded.
#include <cstdlib>

#include "fettle/contact/forms.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle::contact;
    const std::string_view text(reinterpret_cast<const char*>(data), size);
    for (const Reading& r : readings_of(text, [](std::string_view w) { return w.size() == 5; }))
        for (const Table& t : r.tables) {
            if (t.fields.size() > most_fields + 1 || t.rows.size() > most_rows) std::abort();
            for (const auto& row : t.rows)
                if (row.size() != t.fields.size()) std::abort();
        }
    return 0;
}
