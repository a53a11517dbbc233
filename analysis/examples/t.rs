use peakorder_analysis::{against::against_baseline, chosen::Family, load::load};
use peakorder_protocol::swing::Swing;
fn main(){
 let l=load("/tmp/d1").unwrap();
 let b:Vec<&Swing>=l.swings.iter().filter(|s|s.block=="baseline").collect();
 let t=std::time::Instant::now();
 let mut n=0;
 for _ in 0..10 { for s in &l.swings { n+=against_baseline(s,&b,&l.remarks,&Family::All).len(); } }
 println!("{} rows, {:.3} ms a swing", n, t.elapsed().as_secs_f64()*1e3/(10.0*l.swings.len() as f64));
 let t=std::time::Instant::now();
 for _ in 0..10 { for s in &l.swings { n+=against_baseline(s,&b,&l.remarks,&Family::of_remarks(&l.remarks)).len(); } }
 println!("{} rows, {:.3} ms a swing", n, t.elapsed().as_secs_f64()*1e3/(10.0*l.swings.len() as f64));
}
