// Any text as what the journal kept of a plan for a run: it is read or refused. What was read is written and read again
// without a change, so that a watch begun later holds the run against the same.
#include <cstdint>
#include <cstdlib>

#include "fettle/base/json.h"
#include "fettle/plan/expected.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    const auto written = [](const plan::Expected& e) {
        plan::PlanStep step;
        step.sheet = e.sheet;
        step.forecast = e.forecast;
        step.map = e.map;
        return json::serialize(plan::expected_as_json(step));
    };
    const auto read = plan::expected_from({reinterpret_cast<const char*>(data), size});
    if (!read) return 0;
    const std::string text = written(*read);
    const auto again = plan::expected_from(text);
    if (!again || written(*again) != text) std::abort();
    return 0;
}
