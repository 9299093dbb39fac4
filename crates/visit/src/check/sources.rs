//! What a judgement's source says of the nameplate values it rests on: entered, a default, or taken as another one.

use crate::verdict::PlateUsed;
use judge::evaluate::Judged;
use judge::rule::Source;

/// Says in the source of each judgement what each nameplate value rests on here: entered, a default, or taken as another one.
pub(super) fn say_what_was_entered(judgements: &mut [Judged], used: &[PlateUsed]) {
    judgements.iter_mut().for_each(|judged| say_what_one_rests_on(judged, used));
}

fn say_what_one_rests_on(judged: &mut Judged, used: &[PlateUsed]) {
    let parts = &judged.judgement.source_parts;
    let said = Source::of_parts(parts.iter().map(|part| {
        let used = part.plate.and_then(|index| used.get(index));
        (&*part.name, used.map_or(&part.source, |used| &used.source))
    }));
    if let Some(source) = said {
        judged.judgement.source = source;
    }
}
