//! The discrete-time hazard against reference programs, and the choice of its penalty.

use super::close;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use voltwane::statistics::FitError;
use voltwane::statistics::prior::NormalPrior;
use voltwane::statistics::regression::cross_validation::choose_lambda;
use voltwane::statistics::regression::design::Design;
use voltwane::statistics::regression::hazard_likelihood::{PersonPeriods, Ridge};
use voltwane::statistics::regression::hazard_regression::fit_hazard;

/// 20 made-up subjects, (years seen, event, hot climate), as person-years: (year, hot), event.
fn person_years() -> (Vec<f64>, Vec<bool>) {
    #[rustfmt::skip]
    let subjects = [
        (3, 1, 1), (4, 1, 1), (2, 1, 1), (5, 0, 1), (3, 1, 1), (5, 1, 1), (5, 0, 0), (4, 1, 0),
        (5, 0, 0), (5, 1, 0), (3, 1, 0), (5, 0, 0), (2, 1, 1), (4, 0, 1), (4, 0, 0), (3, 0, 0),
        (1, 1, 1), (5, 1, 0), (2, 0, 1), (5, 0, 0),
    ];
    let (mut cells, mut events) = (Vec::new(), Vec::new());
    for (years, event, hot) in subjects {
        for year in 1..=years {
            cells.extend([f64::from(year), f64::from(hot)]);
            events.push(event == 1 && year == years);
        }
    }
    (cells, events)
}

fn plain<'a>(cells: &'a [f64], columns: usize, events: &'a [bool]) -> PersonPeriods<'a> {
    PersonPeriods {
        design: Design {
            columns,
            values: cells,
        },
        events,
        weights: None,
        offsets: None,
    }
}

/// statsmodels 0.15.0 GLM(Binomial(CLogLog)) and R 4.2.2 glm agree; SE by expected information.
#[test]
fn fit_without_penalty_agrees() {
    let (cells, events) = person_years();
    assert_eq!(
        (events.len(), events.iter().filter(|&&event| event).count()),
        (75, 11)
    );
    let fit = fit_hazard(&plain(&cells, 2, &events), &Ridge::default()).unwrap();
    close(fit.intercept, -4.1596984800, 1e-6);
    close(fit.coefficients[0], 0.5656766561, 1e-6);
    close(fit.coefficients[1], 1.2716520109, 1e-6);
    for (se, expected) in
        fit.standard_errors()
            .iter()
            .zip([1.0170640959, 0.2394676580, 0.6467516958])
    {
        close(*se, expected, 1e-6);
    }
    close(fit.log_likelihood, -26.990709996, 1e-9);
    close(fit.effective_df, 3.0, 1e-9);
}

/// Own Newton solver in Python; lambda = 1 checked with statsmodels 0.15.0 fit_regularized.
#[test]
fn ridge_fits_agree() {
    let (cells, events) = person_years();
    #[rustfmt::skip]
    let rows = [
        (0.5, [-3.92692573, 0.53590259, 1.05300626], [0.94901928, 0.2324296, 0.57575055], -27.400839692, -27.051836252, 2.807243894),
        (1.0, [-3.76087749, 0.51197667, 0.90075125], [0.90394898, 0.22708095, 0.52827388], -27.706461277, -27.169724815, 2.669360948),
        (2.0, [-3.53015041, 0.47436951, 0.69876369], [0.84374702, 0.21882174, 0.46415426], -28.142483172, -27.429186052, 2.473355739),
        (10.0, [-2.84484742, 0.3244205, 0.24268841], [0.65828408, 0.1825713, 0.28109692], -29.435980418, -28.615248779, 1.876522393),
    ];
    for (lambda, beta, se, penalised, log_likelihood, df) in rows {
        let fit = fit_hazard(&plain(&cells, 2, &events), &Ridge::new(lambda)).unwrap();
        let errors = fit.standard_errors();
        let got = [fit.intercept, fit.coefficients[0], fit.coefficients[1]];
        for j in 0..3 {
            close(got[j], beta[j], 1e-6);
            close(errors[j], se[j], 1e-6);
        }
        close(fit.penalised_log_likelihood, penalised, 1e-9);
        close(fit.log_likelihood, log_likelihood, 1e-8);
        close(fit.effective_df, df, 1e-6);
    }
}

/// R 4.2.2 glm with a dummy for each year and no intercept: year 1 is our intercept, the other
/// years differ from it.
#[test]
fn indicator_columns_agree() {
    let (cells, events) = person_years();
    let dummies: Vec<f64> = cells
        .chunks(2)
        .flat_map(|row| {
            let year = row[0] as usize;
            (2..=5)
                .map(move |other| f64::from(u8::from(other == year)))
                .chain([row[1]])
        })
        .collect();
    let fit = fit_hazard(&plain(&dummies, 5, &events), &Ridge::default()).unwrap();
    let years = [
        -3.79390417,
        -2.96788341,
        -2.21138793,
        -2.30639739,
        -1.21096797,
    ];
    close(fit.intercept, years[0], 1e-6);
    for (coefficient, year) in fit.coefficients.iter().zip(&years[1..]) {
        close(fit.intercept + coefficient, *year, 1e-6);
    }
    close(fit.coefficients[4], 1.28833883, 1e-6);
    close(fit.log_likelihood, -26.66841343, 1e-8);
}

/// A weight counts a row that often; an offset moves the intercept.
#[test]
fn weights_and_offsets_do_what_they_say() {
    let (cells, events) = person_years();
    let (twice_cells, twice_events) = (
        [&cells[..], &cells].concat(),
        [&events[..], &events].concat(),
    );
    let doubled = fit_hazard(&plain(&twice_cells, 2, &twice_events), &Ridge::new(1.0)).unwrap();
    let (weights, offsets) = (vec![2.0; events.len()], vec![0.7; events.len()]);
    let weighted = PersonPeriods {
        weights: Some(&weights),
        offsets: Some(&offsets),
        ..plain(&cells, 2, &events)
    };
    let weighted = fit_hazard(&weighted, &Ridge::new(1.0)).unwrap();
    close(weighted.intercept + 0.7, doubled.intercept, 1e-8);
    close(weighted.coefficients[1], doubled.coefficients[1], 1e-8);
    close(weighted.log_likelihood, doubled.log_likelihood, 1e-10);
}

/// The chance over several periods is one less the product of the chances to come through each.
#[test]
fn chance_over_periods_is_their_product() {
    let (cells, events) = person_years();
    let fit = fit_hazard(&plain(&cells, 2, &events), &Ridge::new(1.0)).unwrap();
    let periods = [2.0, 1.0, 3.0, 1.0, 4.0, 1.0];
    let got = fit
        .chance(
            Design {
                columns: 2,
                values: &periods,
            },
            None,
            0.95,
        )
        .unwrap();
    let through: f64 = periods
        .chunks(2)
        .map(|row| (-fit.linear_predictor(row).unwrap().exp()).exp())
        .product();
    close(got.chance, 1.0 - through, 1e-12);
    assert!(got.limits.contains(got.chance) && got.limits.lower > 0.0 && got.limits.upper < 1.0);
}

/// An error of the subject's own adds to that of the fit as independent errors do, and leaves the
/// chance as it is.
#[test]
fn an_error_of_ones_own_widens_the_limits() {
    let (cells, events) = person_years();
    let fit = fit_hazard(&plain(&cells, 2, &events), &Ridge::new(1.0)).unwrap();
    let period = Design {
        columns: 2,
        values: &[2.0, 1.0],
    };
    let spread = |own_sd: f64| {
        let got = fit.chance_of_one(period, None, 0.95, own_sd).unwrap();
        let gathered = |chance: f64| (-(-chance).ln_1p()).ln();
        (gathered(got.limits.upper) - gathered(got.limits.lower)) / 2.0 / 1.959_963_984_540_054
    };
    close(spread(0.5), spread(0.0).hypot(0.5), 1e-10);
    assert_eq!(
        fit.chance_of_one(period, None, 0.95, 0.5).unwrap().chance,
        fit.chance(period, None, 0.95).unwrap().chance
    );
    assert!(fit.chance_of_one(period, None, 0.95, -0.1).is_err());
}

#[test]
fn what_cannot_be_fitted_is_refused() {
    let none = fit_hazard(&plain(&[1.0, 2.0], 1, &[false, false]), &Ridge::new(1.0));
    assert!(matches!(none, Err(FitError::NoEvents { rows: 2, .. })));
    let every = fit_hazard(&plain(&[1.0, 2.0], 1, &[true, true]), &Ridge::new(1.0));
    assert!(matches!(every, Err(FitError::NoMaximum { .. })));
    let (cells, events) = person_years();
    let repeated: Vec<f64> = cells.chunks(2).flat_map(|row| [row[0], row[0]]).collect();
    let twice = fit_hazard(&plain(&repeated, 2, &events), &Ridge::default());
    assert!(matches!(twice, Err(FitError::Singular { .. })), "{twice:?}");
    let split: Vec<f64> = events
        .iter()
        .map(|&event| f64::from(u8::from(event)))
        .collect();
    let told = fit_hazard(&plain(&split, 1, &events), &Ridge::default());
    assert!(told.is_err(), "{told:?}");
    assert!(fit_hazard(&plain(&[f64::NAN], 1, &[true]), &Ridge::default()).is_err());
}

/// Two subjects without events lean on a prior for the intercept.
#[test]
fn a_prior_carries_a_fleet_without_events() {
    let prior = Some(NormalPrior {
        mean: -5.0,
        sd: 0.5,
    });
    let ridge = Ridge {
        lambda: 1.0,
        intercept: prior,
        ..Ridge::default()
    };
    let fit = fit_hazard(&plain(&[1.0, 2.0], 1, &[false, false]), &ridge).unwrap();
    assert!(
        (fit.intercept + 5.0).abs() < 0.01 && fit.intercept < -5.0,
        "{fit:?}"
    );
}

/// Thirty columns of which two matter: left-out rows are foretold best with some penalty.
#[test]
fn cross_validation_prefers_a_penalty_where_columns_are_noise() {
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let (rows, columns) = (3000, 30);
    let cells: Vec<f64> = (0..rows * columns)
        .map(|_| random.random_range(-1.0..1.0))
        .collect();
    let events: Vec<bool> = cells
        .chunks(columns)
        .map(|row| {
            let hazard = 1.0 - (-(-4.0 + row[0] + row[1]).exp()).exp();
            random.random_bool(hazard)
        })
        .collect();
    let groups: Vec<u64> = (0..rows as u64).map(|row| row / 10).collect();
    let lambdas = [0.0, 0.1, 1.0, 3.0, 10.0, 30.0, 100.0, 1000.0];
    let data = plain(&cells, columns, &events);
    let chosen = choose_lambda(&data, &groups, 5, &lambdas, &Ridge::default()).unwrap();
    assert!(chosen.best >= 1.0 && chosen.best <= 100.0, "{chosen:?}");
    assert!(chosen.simplest >= chosen.best);
    let score = |lambda| {
        chosen
            .scores
            .iter()
            .find(|score| score.lambda == lambda)
            .unwrap()
    };
    assert!(score(0.0).log_likelihood < score(chosen.best).log_likelihood);
    assert_eq!(
        chosen,
        choose_lambda(&data, &groups, 5, &lambdas, &Ridge::default()).unwrap()
    );
    assert!(choose_lambda(&data, &vec![1; rows], 5, &lambdas, &Ridge::default()).is_err());
}
