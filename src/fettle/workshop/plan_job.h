// The plan of a job: the one place where it is put together, from what was typed and what the job's journal has. ready,
// watch, prove, mend and handover compute with the same one (job_run.h).
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/book/job.h"
#include "fettle/change/offered.h"
#include "fettle/plan/plan.h"
#include "fettle/workshop/identify.h"
#include "fettle/workshop/read_list.h"
#include "fettle/workshop/shelf_view.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// How the boxes of a set are supplied while the run goes on.
enum class Feeding { as_family_says, together, apart };
std::string_view code(Feeding fed);
Feeding feeding_of(std::string_view code);  // empty or unknown: as the family says

// Boxes of a family fed otherwise than its file has it. usage "cuts-range": more supplies than a map is made for.
Status feed(family::Family& family, Feeding fed);

constexpr int most_cuts = 3;

struct PlanAsk {
    IdentifyRequest unit;              // with a job, its plates, views and family stand in for none given
    std::string job;                   // the plan is kept there; empty: no job
    std::optional<ListText> as_found;  // what is installed; absent: as read over the link, else inferred
    std::optional<ListText> offered;   // what the box lists before the start; usage "offered-no-step" without a step
    std::string to = "newest";
    bool consent_one_way = false;  // or the job has it
    std::string complaint;         // with a job the job's when empty
    int cuts = 2;                  // 1 to most_cuts; usage "cuts-range"
    Feeding fed = Feeding::as_family_says;
};

struct Planned {
    Identified unit;
    std::optional<plan::Plan> plan;                // absent: what stands on the bench is not certain enough
    std::optional<change::OfferedAnswer> offered;  // its reasons are the plan's, too
};

// usage "plate-missing" when neither the request nor the job has a label or a family. Keeps the plan in the job when it
// has a step or nothing is to be done.
Result<Planned> plan_job(const Workshop& shop, const PlanAsk& ask);

// With what the shelf and the shop's own runs say: the other members of the request are as they are.
plan::Plan put_together(const Workshop& shop, plan::PlanRequest request, const ShelfView& shelf);

route::Consent consent_of(const book::Job& job);

// The version views of a job that show `release`: as they were typed, unless it was put right since. Without one those
// that name their boxes, where these have different releases.
std::vector<std::string> views_of(const book::Job& job, const std::string& release);

}  // namespace fettle::workshop
