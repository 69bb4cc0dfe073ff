#[test] fn t(){assert_eq!(1,1)}
