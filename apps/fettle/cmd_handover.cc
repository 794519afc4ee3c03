#include "cmd_handover.h"

#include "fettle/show/handover.h"

namespace fettle::app {

Result<Answer> handover(Context& context, const HandoverOptions& options) {
    const auto made = workshop::hand_over(context, {options.job, options.out, check_sheet_with});
    if (!made) return pass(made);
    return show::handed_over(*made);
}

Result<Answer> handover_check(Context& context, const HandoverCheckOptions& options) {
    const auto checked = workshop::check_sheet(context, {options.file, check_sheet_with});
    if (!checked) return pass(checked);
    return show::sheet_checked(*checked);
}

}  // namespace fettle::app
